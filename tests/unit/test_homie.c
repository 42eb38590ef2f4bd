#include "wire/homie.h"

#include <math.h>
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static struct place places[] = {
    { PLACE_ROOM, "room", "room", "room", -1 },
    { PLACE_SERVICE, "lentic", "lentic", "lentic", -1 },
    { PLACE_TANK, "a1", "tank/a1", "Crystals \"B\"", 0 },
    { PLACE_CIRCUIT, "left", "circuit/left", "left", -1 },
    { PLACE_WATER, "soft", "water/soft", "soft", -1 },
};
static struct tank tank;
static int first_stream[5 * Q_COUNT];
static struct alert_slot slots[2] = {
    { .kind = KIND_LOW, .place = 2, .name = "temp-low", .ref = "tank/a1/temp-low" },
    { .kind = KIND_BATCH, .place = 4, .name = "bad-batch", .ref = "water/soft/bad-batch" }
};
static struct site site = { .id = "mill",
                            .name = "Millrace",
                            .publish = { .homie_domain = "homie" },
                            .places = places,
                            .place_count = 5,
                            .tanks = &tank,
                            .tank_count = 1,
                            .first_stream = first_stream,
                            .alerts = slots,
                            .alert_count = 2 };
static struct homie_view view;
static struct homie_known known;
static char buf[65536];

static int set_up(void **state)
{
    (void)state;
    for (int i = 0; i < 5 * Q_COUNT; i++)
        first_stream[i] = -1;
    for (int q = 0; q < Q_COUNT; q++) {
        tank.band[q] = (struct span){ NAN, NAN };
        site.publish.homie_step[q] = NAN;
        view.report.values[q] = (struct value_report){ .value = NAN, .t = UTC_NONE, .per_day = NAN };
    }
    memset(site.command_off, 0, sizeof site.command_off);
    view = (struct homie_view){ .report.forecast.quantity = Q_COUNT, .alert_level = -1 };
    view.report.values[Q_TEMP] = (struct value_report){ .origin = ORIGIN_PROBE,
                                                        .value = -0.004,
                                                        .t = { INT64_C(1772366400000) },
                                                        .flag = FLAG_GOOD,
                                                        .per_day = NAN };
    memset(&known, 0, sizeof known);
    return 0;
}

static const char *value_of(enum homie_part part, int of)
{
    double number;
    size_t n = homie_value(&site, &view, (struct homie_property){ part, of }, buf, sizeof buf, &number);
    return n == 0 ? NULL : buf;
}

static bool has_property(const char *path)
{
    struct homie_property p[HOMIE_PROPERTIES_MAX];
    char own[64];
    int count = homie_properties(&site, 2, &known, p);
    for (int i = 0; i < count; i++) {
        homie_property_path(p[i], own, sizeof own);
        if (strcmp(own, path) == 0)
            return true;
    }
    return false;
}

static void values_are_written_as_the_convention_wants_them(void **state)
{
    (void)state;
    assert_string_equal(value_of(HOMIE_VALUE, Q_TEMP), "0.00"); /* no -0.00 */
    assert_string_equal(value_of(HOMIE_QUALITY, Q_TEMP), "good");
    assert_string_equal(value_of(HOMIE_TIME, Q_TEMP), "2026-03-01T12:00:00.000Z");
    assert_null(value_of(HOMIE_TREND, Q_TEMP));
    assert_null(value_of(HOMIE_VALUE, Q_EC));
    view.report.values[Q_TEMP].stale = true;
    assert_string_equal(value_of(HOMIE_QUALITY, Q_TEMP), "stale");
    view.report.values[Q_EC] = (struct value_report){ .origin = ORIGIN_PROBE, .value = 1e4, .t = { 1 } };
    assert_string_equal(value_of(HOMIE_VALUE, Q_EC), "10000");
    view.report.values[Q_LEAK] = (struct value_report){ .origin = ORIGIN_PROBE, .value = 1, .t = { 1 } };
    assert_string_equal(value_of(HOMIE_VALUE, Q_LEAK), "true");
    assert_string_equal(value_of(HOMIE_LEVEL, 0), "none");
    assert_string_equal(value_of(HOMIE_URGENT, 0), "nothing is wrong");
}

/* Its format would not allow it, after rounding. */
static void what_cannot_be_has_no_value(void **state)
{
    (void)state;
    view.report.values[Q_PH] = (struct value_report){ .origin = ORIGIN_PROBE, .value = 14.006, .t = { 1 } };
    assert_null(value_of(HOMIE_VALUE, Q_PH));
    view.report.values[Q_PH].value = 14.004;
    assert_string_equal(value_of(HOMIE_VALUE, Q_PH), "14.00");
}

static void only_what_was_measured_is_described(void **state)
{
    (void)state;
    assert_false(has_property("temp/value"));
    assert_true(homie_learn(&view, &known));
    assert_false(homie_learn(&view, &known));
    assert_true(has_property("temp/value"));
    assert_true(has_property("temp/time"));
    assert_false(has_property("temp/band-low"));
    assert_false(has_property("ec/value"));
    assert_true(has_property("service/window"));
    view.report.values[Q_TEMP].origin = ORIGIN_NONE;
    homie_learn(&view, &known);
    assert_true(has_property("temp/value")); /* the old one stays */
}

static const char *describe(int place, int64_t version)
{
    struct homie_property p[HOMIE_PROPERTIES_MAX];
    struct text out = text_over(buf, sizeof buf);
    homie_describe(&site, place, p, homie_properties(&site, place, &known, p), version, &out);
    assert_false(out.cut);
    return buf;
}

static void descriptions(void **state)
{
    (void)state;
    homie_learn(&view, &known);
    const char *d = describe(2, 7);
    assert_non_null(strstr(d, "{\"homie\":\"5.0\",\"version\":7,\"name\":\"Crystals "
                              "\\\"B\\\"\",\"type\":\"lentic/tank\",\"root\":\"mill\""));
    assert_non_null(strstr(d,
                           "\"value\":{\"name\":\"Value\",\"datatype\":\"float\",\"format\":\"-30:60:0.01\","
                           "\"unit\":\"\xC2\xB0"
                           "C\"}"));
    assert_non_null(strstr(d, "\"window\":{"));
    assert_null(strstr(d, "children"));
    d = describe(HOMIE_ROOT, 8);
    assert_non_null(strstr(d, "\"children\":[\"mill-tank-a1\",\"mill-circuit-left\"]"));
    assert_null(strstr(d, "\"root\""));
}

static void alerts_have_ids_of_the_convention(void **state)
{
    (void)state;
    char id[80];
    homie_alert_id(&site, 0, id, sizeof id);
    assert_string_equal(id, "temp-low");
    homie_alert_id(&site, 1, id, sizeof id);
    assert_string_equal(id, "water-soft-bad-batch");
    assert_true(homie_alert_stands(&(struct alert){ .active = true, .base = ALERT_UNACK }));
    assert_false(
        homie_alert_stands(&(struct alert){ .active = true, .base = ALERT_UNACK, .marks = ALERT_SHELVED }));
    assert_false(homie_alert_stands(&(struct alert){ .base = ALERT_RTNUN }));
    assert_true(homie_alert_stands(&(struct alert){ .base = ALERT_LATAK }));
}

static struct homie_set set;

static enum status parse(const char *topic, const char *payload, bool retain)
{
    struct why why = { "" };
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload),
                         .retain = retain };
    enum status st = homie_parse_set(&site, &m, &set, &why);
    assert_true(st == STATUS_OK || why.text[0] != '\0');
    return st;
}

static void sets_are_read_strictly(void **state)
{
    (void)state;
    static const char shelve[] = "homie/5/mill-tank-a1/alerts/shelve/set";
    static const char *const wrong[] = { "",     "-1",  "+5",
                                         "5.0",  " 5",  "5 ",
                                         "1441", "1e2", "99999999999999999999999999" };
    assert_int_equal(parse(shelve, "045", false), STATUS_OK);
    assert_int_equal(set.place, 2);
    assert_int_equal(set.number, 45);
    assert_string_equal(set.payload, "045");
    for (unsigned i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_int_equal(parse(shelve, wrong[i], false), STATUS_INVALID);
    assert_int_equal(parse(shelve, "45", true), STATUS_INVALID);
    assert_int_equal(parse("homie/5/mill/alerts/acknowledge/set", "true", false), STATUS_OK);
    assert_int_equal(set.place, HOMIE_ROOT);
    assert_int_equal(parse("homie/5/mill/alerts/acknowledge/set", "True", false), STATUS_INVALID);
    assert_int_equal(parse("homie/5/mill-tank-a1/temp/value/set", "20", false), STATUS_INVALID);
}

static bool is_set(const char *topic)
{
    return homie_is_set(&site, topic, strlen(topic));
}

static void sets_of_others_are_none_of_our_business(void **state)
{
    (void)state;
    assert_true(is_set("homie/5/mill/alerts/acknowledge/set"));
    assert_true(is_set("homie/5/mill-tank-a1/no/such/set"));
    assert_false(is_set("homie/5/millpond/alerts/shelve/set"));
    assert_false(is_set("homie/5/mill-tank-a9/alerts/shelve/set"));
    assert_false(is_set("homie/5/mill-annex-tank-a1/alerts/shelve/set"));
    assert_false(is_set("homie/5/mill/set"));
    assert_false(is_set("hut/5/mill/alerts/acknowledge/set"));
}

static void what_is_switched_off_cannot_be_set(void **state)
{
    (void)state;
    site.command_off[COMMAND_SERVICE] = true;
    assert_int_equal(parse("homie/5/mill-tank-a1/service/window/set", "20", false), STATUS_INVALID);
    assert_int_equal(parse("homie/5/mill-tank-a1/alerts/shelve/set", "20", false), STATUS_OK);
}

static void dead_steps_are_the_keepers_or_the_probes_noise(void **state)
{
    (void)state;
    struct homie_property p = { HOMIE_VALUE, Q_TEMP };
    assert_true(homie_dead_step(&site, &view, p) == quantity_info(Q_TEMP)->reading_sd);
    site.publish.homie_step[Q_TEMP] = 0.5;
    assert_true(homie_dead_step(&site, &view, p) == 0.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(values_are_written_as_the_convention_wants_them, set_up),
        cmocka_unit_test_setup(what_cannot_be_has_no_value, set_up),
        cmocka_unit_test_setup(only_what_was_measured_is_described, set_up),
        cmocka_unit_test_setup(descriptions, set_up),
        cmocka_unit_test_setup(alerts_have_ids_of_the_convention, set_up),
        cmocka_unit_test_setup(sets_are_read_strictly, set_up),
        cmocka_unit_test_setup(sets_of_others_are_none_of_our_business, set_up),
        cmocka_unit_test_setup(what_is_switched_off_cannot_be_set, set_up),
        cmocka_unit_test_setup(dead_steps_are_the_keepers_or_the_probes_noise, set_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
