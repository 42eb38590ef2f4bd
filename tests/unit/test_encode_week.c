/* A week as JSON: what is in it, what is not known, and that it is JSON. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "wire/encode_week.h"
#include "wire/json.h"

#define T0 INT64_C(1772366400000)

static struct place places[] = { { PLACE_SOURCE, "ro", "source/ro", "the unit", -1 },
                                 { PLACE_TANK, "a1", "tank/a1", "a1", 0 } };
static struct source sources[] = { { .place = 0, .feed = -1 } };
static struct salt salts[] = { { .id = "mix" } };
static struct water waters[] = { { .id = "soft", .source = 0, .blend = -1 } };
static struct tank tanks[] = { { .id = "a1", .place = 1, .volume_l = 30 } };
static struct stream streams[] = { { .place = 1, .quantity = Q_PH, .name = "probes/a1/ph" } };
static struct site site = { .places = places,
                            .place_count = 2,
                            .sources = sources,
                            .source_count = 1,
                            .salts = salts,
                            .salt_count = 1,
                            .waters = waters,
                            .water_count = 1,
                            .tanks = tanks,
                            .tank_count = 1,
                            .streams = streams,
                            .stream_count = 1 };
static struct week_tank week;
static struct week_room room;
static struct json_doc doc;
static char buf[8192], word[300];

static int fill(void **state)
{
    (void)state;
    memset(&week, 0, sizeof week);
    memset(&room, 0, sizeof room);
    week.from = room.from = (utc_t){ T0 };
    week.days = room.days = 7;
    week.last_change = UTC_NONE;
    week.topoff_l_day = week.reservoir_l = week.every_d = NAN;
    week.stages[0] = (struct week_stage){ .at = { T0 },
                                          .litres = 3,
                                          .share = 0.1,
                                          .reason = WEEK_NITRATE,
                                          .axis = WEEK_NO3,
                                          .limit = 20,
                                          .bound = WEEK_BY_STEP,
                                          .bound_axis = WEEK_GH,
                                          .fresh_c = 21.5,
                                          .brought = true };
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        week.stages[0].before[axis] = axis == WEEK_KH ? (double)NAN : 30;
        week.stages[0].after[axis] = axis == WEEK_KH ? (double)NAN : 27;
    }
    week.stage_count = 1;
    week.tests[0] = (struct week_test){ Q_GH, UTC_NONE, { T0 }, 14 };
    week.test_count = 1;
    week_remark(week.remarks, &week.remark_count, WEEK_CAUTION, "look \"here\"");
    room.waters[0] = (struct week_water){ .water = 0,
                                          .litres = 8,
                                          .stored_l = 3,
                                          .stored_from = WEEK_STORED_BATCH,
                                          .mix_l = 5,
                                          .tanks = 1,
                                          .first = { T0 },
                                          .mixed = true,
                                          .parts = { { 0, 0.375, 0.5 } },
                                          .part_count = 1,
                                          .base = { NAN, 1, 0.5 },
                                          .ec = 200,
                                          .ec_sd = 6,
                                          .gh = 4 };
    room.water_count = 1;
    room.salts[0] = (struct week_salt){ .salt = 0, .grams = 0.375, .left_g = NAN, .out = UTC_NONE };
    room.salt_count = 1;
    room.sources[0] = (struct week_source){ .mix_l = 5, .gives_l = NAN, .short_at = UTC_NONE };
    room.sources[0].water = (struct source_water){ .rejection = NAN,
                                                   .rejection_sd = NAN,
                                                   .feed_ec = NAN,
                                                   .feed_t = UTC_NONE,
                                                   .trend = { NAN, NAN, 0 },
                                                   .exhausted_ec = 30,
                                                   .exhausted = UTC_NONE,
                                                   .early = UTC_NONE,
                                                   .late = UTC_NONE };
    room.source_count = 1;
    room.calibrations[0] = (struct week_calibration){ 0, UTC_NONE, { T0 }, 30, true };
    room.calibration_count = 1;
    return 0;
}

static int done(void **state)
{
    (void)state;
    json_doc_fini(&doc);
    return 0;
}

static void read(const struct text *out)
{
    assert_false(out->cut);
    assert_int_equal(json_doc_parse(buf, out->len, &doc, NULL), STATUS_OK);
}

static double number(const char *pointer)
{
    struct json_item item = json_doc_at(&doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

static bool is(const char *pointer, const char *text)
{
    json_doc_text(&doc, pointer, word, sizeof word);
    return strcmp(word, text) == 0;
}

static void a_tank(void **state)
{
    (void)state;
    struct text out = text_over(buf, sizeof buf);
    encode_week_tank(&site, &week, &out);
    read(&out);
    assert_true(number("/changes/0/litres") == 3 && number("/changes/0/steps/ec") == -3);
    assert_true(is("/changes/0/water", "soft") && is("/changes/0/reason", "nitrate"));
    assert_true(is("/changes/0/limited_by", "gh"));
    assert_true(is("/changes/0/why", "nitrate 30 mg/L, above 20 mg/L"));
    assert_int_equal(json_doc_at(&doc, "/changes/0/steps/kh").kind, JSON_KIND_NULL);
    assert_true(number("/changes/0/water_temp") == 21.5 && number("/changes/0/bring") == 1);
    assert_int_equal(json_doc_at(&doc, "/reservoir").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/topoff/l_day").kind, JSON_KIND_NULL);
    assert_true(is("/tests/0/quantity", "gh"));
    assert_int_equal(json_doc_at(&doc, "/tests/0/last").kind, JSON_KIND_NULL);
    assert_true(is("/remarks/0/kind", "caution") && is("/remarks/0/text", "look \"here\""));
}

static void the_room(void **state)
{
    (void)state;
    struct text out = text_over(buf, sizeof buf);
    encode_week_room(&site, &room, &out);
    read(&out);
    assert_true(number("/feasible") == 1);
    assert_true(number("/waters/0/stored_l") == 3 && number("/waters/0/mix_l") == 5);
    assert_true(is("/waters/0/stored_from", "batch"));
    assert_true(number("/waters/0/salts/0/grams") == 0.375 && number("/waters/0/salts/0/pure_grams") == 0.5);
    assert_true(number("/waters/0/base/gh") == 1);
    assert_int_equal(json_doc_at(&doc, "/waters/0/base/ec").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/salts/0/left_g").kind, JSON_KIND_NULL);
    assert_true(is("/sources/0/source", "ro") && is("/sources/0/wear", "unknown"));
    assert_int_equal(json_doc_at(&doc, "/sources/0/rejection").kind, JSON_KIND_NULL);
    assert_true(is("/calibrations/0/probe", "probes/a1/ph") && number("/calibrations/0/new") == 1);
}

static void what_cannot_be_mixed(void **state)
{
    (void)state;
    struct text out = text_over(buf, sizeof buf);
    room.waters[0].mixed = false;
    room.waters[0].part_count = 0;
    (void)why_say(&room.waters[0].why, STATUS_NONE, "what tap holds is not known");
    encode_week_room(&site, &room, &out);
    read(&out);
    assert_true(number("/feasible") == 0);
    assert_int_equal(json_doc_at(&doc, "/waters/0/ec").kind, JSON_KIND_NULL);
    assert_true(is("/waters/0/text", "what tap holds is not known"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_tank, fill, done),
        cmocka_unit_test_setup_teardown(the_room, fill, done),
        cmocka_unit_test_setup_teardown(what_cannot_be_mixed, fill, done),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
