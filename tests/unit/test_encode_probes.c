#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "wire/encode_probes.h"
#include "wire/json.h"
#include "site_sketch.h"

#define NOON INT64_C(1772366400000)

static struct arena arena;
static struct site site;
static struct probe_value values[2];
static struct probe_entry entry;
static char buf[8192];

static int set_up(void **state)
{
    (void)state;
    values[0] = sketch_value("/t", Q_TEMP, "Cel");
    values[1] = sketch_value("/ph", Q_PH, "");
    entry = sketch_entry(&arena, "state/{tank}", -1, values, 2);
    entry.device = "box \"7\"";
    site = sketch_site(&entry, 1);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    site_fini(&site);
    arena_fini(&arena);
    return 0;
}

static void each_probe_on_a_line(void **state)
{
    (void)state;
    struct text out = text_over(buf, sizeof buf);
    struct probe_report silent = { .stream = 0,
                                   .last_t = UTC_NONE,
                                   .last_value = NAN,
                                   .cadence_s = NAN,
                                   .good_share = NAN,
                                   .calib = CALIB_IDENTITY };
    struct probe_report r = { .stream = 1,
                              .seen = true,
                              .last_t = { NOON - 30000 },
                              .last_value = 6.812,
                              .flag = FLAG_SUSPECT,
                              .cadence_s = 60,
                              .good_share = 0.98765,
                              .calib = CALIB_IDENTITY,
                              .received = 1440,
                              .rejected = 3,
                              .last_reason = "not a number",
                              .last_sample = "6,8" };
    r.calib.kind = CALIB_ELECTRODE;
    r.calib.slope_fraction[0] = 0.97;
    r.calib.slope_fraction[1] = 0.95;
    r.calib.since = (utc_t){ NOON - 86400000 };
    encode_probes_begin((utc_t){ NOON }, &out);
    encode_probes_add(&site, &silent, (utc_t){ NOON }, &out);
    encode_probes_add(&site, &r, (utc_t){ NOON }, &out);
    encode_probes_end(&out);
    struct json_doc doc;
    assert_int_equal(json_doc_parse(buf, out.len, &doc, NULL), STATUS_OK);
    assert_int_equal(json_doc_at(&doc, "/probes/0/flag").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/probes/0/calibrated").kind, JSON_KIND_NULL);
    assert_true(json_doc_at(&doc, "/probes/0/gain").number == 1);
    assert_string_equal(json_doc_at(&doc, "/probes/0/device").text, "box \"7\"");
    assert_true(json_doc_at(&doc, "/probes/1/value").number == 6.81);
    assert_true(json_doc_at(&doc, "/probes/1/age_s").number == 30);
    assert_true(json_doc_at(&doc, "/probes/1/good_share").number == 0.9877);
    assert_true(json_doc_at(&doc, "/probes/1/slope_percent").number == 96);
    assert_string_equal(json_doc_at(&doc, "/probes/1/calibrated").text, "2026-02-28T12:00:00.000Z");
    assert_string_equal(json_doc_at(&doc, "/probes/1/last_sample").text, "6,8");
    json_doc_fini(&doc);
    int lines = 0;
    for (const char *at = buf; (at = strstr(at, "\n{\"probe\":\"state/a1#/")) != NULL; at++)
        lines++;
    assert_int_equal(lines, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test_setup_teardown(each_probe_on_a_line, set_up,
                                                                        tear_down) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
