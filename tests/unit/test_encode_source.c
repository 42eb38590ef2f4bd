/* A source's document: written, read back, and rubbish in its place. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "wire/encode_source.h"
#include "wire/json.h"

#define T0 INT64_C(1772366400000)

static struct place places[] = { { PLACE_SOURCE, "ro", "source/ro", "the unit", -1 } };
static struct source sources[] = { { .place = 0, .feed = -1 } };
static struct site site = { .places = places, .place_count = 1, .sources = sources, .source_count = 1 };
static struct source_water w;
static struct source_live live;
static char buf[4096];

static int fill(void **state)
{
    (void)state;
    w = (struct source_water){ .t = { T0 },
                               .rejection = 0.98,
                               .rejection_sd = 0.001,
                               .feed_ec = 500,
                               .feed_t = { T0 - MS_PER_DAY },
                               .trend = { 0.25, 0.05, 14 },
                               .exhausted_ec = 30,
                               .wear = SOURCE_WEARING,
                               .exhausted = { T0 + 80 * MS_PER_DAY },
                               .early = { T0 + 60 * MS_PER_DAY },
                               .late = UTC_NONE };
    for (int q = 0; q < Q_COUNT; q++)
        w.values[q] = (struct source_value){ NAN, NAN, ORIGIN_NONE, UTC_NONE, NAN, NAN, 0 };
    w.values[Q_EC] = (struct source_value){ 10, NAN, ORIGIN_PROBE, { T0 }, 8, 11, 3 };
    live = SOURCE_LIVE_NONE;
    live.ec = (struct value_report){ ORIGIN_PROBE, 10, { T0 }, FLAG_GOOD, false, NAN, NAN, NAN };
    live.trend = (struct source_trend){ 0.25, 0.05, 14 };
    return 0;
}

static size_t encode(int remark_count)
{
    struct week_remark remark = { WEEK_CAUTION, "look \"here\"" };
    struct text out = text_over(buf, sizeof buf);
    encode_source(&site, &live, &w, &remark, remark_count, &out);
    assert_false(out.cut);
    return out.len;
}

static void what_is_in_it(void **state)
{
    (void)state;
    struct json_doc doc;
    char text[300];
    assert_int_equal(json_doc_parse(buf, encode(1), &doc, NULL), STATUS_OK);
    assert_true(json_doc_at(&doc, "/v").number == 1);
    json_doc_text(&doc, "/kind", text, sizeof text);
    assert_string_equal(text, "purified");
    json_doc_text(&doc, "/values/ec/origin", text, sizeof text);
    assert_string_equal(text, "probe");
    assert_int_equal(json_doc_at(&doc, "/values/gh").kind, JSON_KIND_NONE);
    assert_true(fabs(json_doc_at(&doc, "/rejection").number - 0.98) < 1e-9);
    json_doc_text(&doc, "/wear", text, sizeof text);
    assert_string_equal(text, "wearing");
    assert_int_equal(json_doc_time(&doc, "/exhausted").ms, T0 + 80 * MS_PER_DAY);
    assert_int_equal(json_doc_at(&doc, "/exhausted_late").kind, JSON_KIND_NULL);
    json_doc_text(&doc, "/remarks/0/text", text, sizeof text);
    assert_string_equal(text, "look \"here\"");
    json_doc_text(&doc, "/text", text, sizeof text);
    assert_non_null(strstr(text, "holds back 98.0 %"));
    json_doc_fini(&doc);
}

static void it_is_read_back(void **state)
{
    (void)state;
    struct source_live got;
    assert_int_equal(encode_source_parse(buf, encode(0), &got), STATUS_OK);
    assert_int_equal(got.ec.origin, ORIGIN_PROBE);
    assert_true(got.ec.value == 10 && got.ec.t.ms == T0 && !got.ec.stale);
    assert_true(got.trend.per_day == 0.25 && got.trend.sd == 0.05 && got.trend.span_d == 14);
    live = SOURCE_LIVE_NONE;
    assert_int_equal(encode_source_parse(buf, encode(0), &got), STATUS_OK);
    assert_int_equal(got.ec.origin, ORIGIN_NONE);
}

static void rubbish_is_no_document(void **state)
{
    (void)state;
    struct source_live got;
    static const char *const rubbish[] = { "", "7", "{", "{\"v\":2,\"values\":{}}", "{\"v\":1}", "[\"v\"]" };
    for (size_t i = 0; i < sizeof rubbish / sizeof *rubbish; i++) {
        assert_int_equal(encode_source_parse(rubbish[i], strlen(rubbish[i]), &got), STATUS_INVALID);
        assert_int_equal(got.ec.origin, ORIGIN_NONE);
    }
    static const char odd[] = "{\"v\":1,\"values\":{},\"probe\":{\"ec\":\"x\",\"t\":5}}";
    assert_int_equal(encode_source_parse(odd, sizeof odd - 1, &got), STATUS_OK);
    assert_int_equal(got.ec.origin, ORIGIN_NONE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(what_is_in_it, fill),
        cmocka_unit_test_setup(it_is_read_back, fill),
        cmocka_unit_test_setup(rubbish_is_no_document, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
