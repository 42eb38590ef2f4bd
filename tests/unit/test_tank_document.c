/* What was written is read back; what is damaged is not known. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "wire/encode.h"
#include "wire/tank_document.h"

#define NOON INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

static char json[ENCODE_DOCUMENT_MAX];
static struct tank tank = { .id = "a1", .name = "Crystals", .place = 0 };
static struct place place = { PLACE_TANK, "a1", "tank/a1", "Crystals", 0 };
static struct site site = { .tanks = &tank, .tank_count = 1, .places = &place, .place_count = 1 };

static struct value_report value(enum value_origin origin, double v)
{
    return (struct value_report){ .origin = origin,
                                  .value = v,
                                  .t = { NOON - 5000 },
                                  .flag = FLAG_SUSPECT,
                                  .stale = origin == ORIGIN_HAND,
                                  .per_day = 1.5,
                                  .day_lo = v - 1,
                                  .day_hi = v + 1 };
}

static void round_trip(void **state)
{
    (void)state;
    struct tank_report out, in;
    struct text text = text_over(json, sizeof json);
    tank_document_empty(0, &out);
    out.t = (utc_t){ NOON };
    out.values[Q_EC] = value(ORIGIN_PROBE, 223);
    out.values[Q_KH] = value(ORIGIN_HAND, 3);
    out.derived[DERIVED_GH_EST] = value(ORIGIN_DERIVED, 5.12);
    out.derived_sd[DERIVED_GH_EST] = 0.6;
    out.solids = (struct solids_report){ 1.25, 0.25, 4, 0.0123, true };
    out.last_change = (utc_t){ NOON - MS_PER_DAY };
    out.last_step_ec = -12;
    encode_tank(&site, &out, NULL, NULL, 0, &text);
    assert_int_equal(tank_document_parse(0, json, text.len, &in), STATUS_OK);
    assert_int_equal(in.t.ms, NOON);
    assert_int_equal(in.values[Q_EC].origin, ORIGIN_PROBE);
    assert_int_equal(in.values[Q_EC].flag, FLAG_SUSPECT);
    assert_int_equal(in.values[Q_EC].t.ms, NOON - 5000);
    assert_true(in.values[Q_EC].value == 223 && in.values[Q_EC].per_day == 1.5 && !in.values[Q_EC].stale);
    assert_true(in.values[Q_KH].stale && in.values[Q_KH].origin == ORIGIN_HAND);
    assert_int_equal(in.values[Q_TEMP].origin, ORIGIN_NONE);
    assert_true(in.derived[DERIVED_GH_EST].value == 5.12 && in.derived_sd[DERIVED_GH_EST] == 0.6);
    assert_int_equal(in.derived[DERIVED_KH_EST].origin, ORIGIN_NONE);
    assert_true(in.solids.ec_per_day == 1.25 && in.solids.span_days == 4 &&
                in.solids.evaporation_day == 0.0123);
    assert_int_equal(in.last_change.ms, NOON - MS_PER_DAY);
}

static void what_cannot_be_read(void **state)
{
    (void)state;
    static const char *const odd[] = {
        "{\"values\":{\"ec\":{\"value\":\"x\",\"origin\":\"probe\",\"t\":\"2026-03-01T12:00:00Z\"}}}",
        "{\"values\":{\"ec\":{\"value\":223,\"origin\":\"guess\",\"t\":\"2026-03-01T12:00:00Z\"}}}",
        "{\"values\":{\"ec\":{\"value\":223,\"origin\":\"probe\",\"t\":\"yesterday\"}}}",
        "{\"values\":[1,2]}",
        "{}",
    };
    struct tank_report in;
    for (size_t i = 0; i < sizeof odd / sizeof *odd; i++) {
        assert_int_equal(tank_document_parse(0, odd[i], strlen(odd[i]), &in), STATUS_OK);
        assert_int_equal(in.values[Q_EC].origin, ORIGIN_NONE);
        assert_false(utc_is_set(in.last_change));
        assert_true(isnan(in.solids.ec_per_day) && in.solids.span_days == 0);
    }
    assert_int_equal(tank_document_parse(0, "{\"values\":", 10, &in), STATUS_INVALID);
    assert_int_equal(in.values[Q_EC].origin, ORIGIN_NONE);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(round_trip), cmocka_unit_test(what_cannot_be_read) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
