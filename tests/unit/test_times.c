#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "base/times.h"

static int64_t parsed(const char *text, bool want_zoned)
{
    utc_t t = UTC_NONE;
    bool zoned = !want_zoned;
    if (utc_parse(text, strlen(text), &t, &zoned) != STATUS_OK)
        fail_msg("refused: %s", text);
    if (zoned != want_zoned)
        fail_msg("zoned is %d: %s", zoned, text);
    return t.ms;
}

/* `date -u -d ... +%s` is the witness. */
static void known_instants(void **state)
{
    (void)state;
    assert_int_equal(parsed("1970-01-01T00:00:00Z", true), 0);
    assert_int_equal(parsed("2026-03-01T12:00:00Z", true), INT64_C(1772366400000));
    assert_int_equal(parsed("2000-02-29T23:59:59.999Z", true), INT64_C(951868799999));
    assert_int_equal(parsed("1969-12-31T23:59:59.500Z", true), -500);
    assert_int_equal(parsed("0001-01-01T00:00:00Z", true), INT64_C(-62135596800000));
    assert_int_equal(parsed("9999-12-31T23:59:59Z", true), INT64_C(253402300799000));
}

static void zones(void **state)
{
    (void)state;
    const int64_t noon = INT64_C(1772366400000);
    assert_int_equal(parsed("2026-03-01T12:00:00+00:00", true), noon);
    assert_int_equal(parsed("2026-03-01T13:00:00+01:00", true), noon);
    assert_int_equal(parsed("2026-03-01T08:30:00-03:30", true), noon);
    assert_int_equal(parsed("2026-03-01T12:00:00+0000", true), noon);
    assert_int_equal(parsed("2026-03-01T12:00:00-00:00", true), noon);
    assert_int_equal(parsed("2026-03-01 12:00:00z", true), noon);
    assert_int_equal(parsed("2026-03-01t12:00:00Z", true), noon);
    assert_int_equal(parsed("2026-03-01T12:00:00", false), noon);
    assert_int_equal(parsed("2026-03-01 12:00:00.25", false), noon + 250);
}

static void as_the_subscriber_writes_it(void **state)
{
    (void)state;
    assert_int_equal(parsed("2026-03-01T12:00:00.123456Z+0000", true), INT64_C(1772366400123));
    assert_int_equal(parsed("2026-03-01T14:00:00.123456Z+0200", true), INT64_C(1772366400123));
    assert_int_equal(parsed("2026-03-01T12:00:00.123456+0000", true), INT64_C(1772366400123));
}

static void fractions_are_cut(void **state)
{
    (void)state;
    const int64_t noon = INT64_C(1772366400000);
    assert_int_equal(parsed("2026-03-01T12:00:00.1Z", true), noon + 100);
    assert_int_equal(parsed("2026-03-01T12:00:00.0019999999Z", true), noon + 1);
    assert_int_equal(parsed("2026-03-01T12:00:00.999999999999999999999999Z", true), noon + 999);
    assert_int_equal(parsed("2016-12-31T23:59:60Z", true), INT64_C(1483228799999));
    assert_int_equal(parsed("2016-12-31T23:59:60.5Z", true), INT64_C(1483228799999));
}

static void anything_else_is_refused(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "2026",
        "2026-03-01",
        "2026-03-01T12:00Z",
        "12:00:00Z",
        "2026-02-29T00:00:00Z",
        "1900-02-29T00:00:00Z",
        "2026-04-31T00:00:00Z",
        "2026-00-01T00:00:00Z",
        "2026-13-01T00:00:00Z",
        "2026-03-00T00:00:00Z",
        "2026-03-32T00:00:00Z",
        "2026-03-01T24:00:00Z",
        "2026-03-01T12:60:00Z",
        "2026-03-01T12:00:61Z",
        "2026-03-01T12:00:00.Z",
        "2026-03-01T12:00:00,5Z",
        "2026-03-01T12:00:00Zx",
        "2026-03-01T12:00:00Z ",
        " 2026-03-01T12:00:00Z",
        "2026-03-01T12:00:00+1",
        "2026-03-01T12:00:00+01",
        "2026-03-01T12:00:00+24:00",
        "2026-03-01T12:00:00+01:60",
        "2026-3-1T12:00:00Z",
        "26-03-01T12:00:00Z",
        "+026-03-01T12:00:00Z",
        "2026/03/01T12:00:00Z",
        "2026-03-01_12:00:00Z",
        "2026-03-01T12:00:00 CET",
        "1772366400",
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        utc_t t = { 42 };
        bool zoned = true;
        if (utc_parse(bad[i], strlen(bad[i]), &t, &zoned) == STATUS_OK)
            fail_msg("accepted: %s", bad[i]);
        assert_int_equal(t.ms, 42);
    }
    utc_t t;
    bool zoned;
    assert_int_equal(utc_parse("2026-03-01T12:00:00Z\0", 21, &t, &zoned), STATUS_INVALID);
    assert_int_equal(utc_parse("2026-03-01T12:00:00Z", 18, &t, &zoned), STATUS_INVALID);
}

static void writing_and_reading_are_inverse(void **state)
{
    (void)state;
    char buf[UTC_TEXT_MAX];
    /* An odd step, so that every day of the week, month end and leap year of 1800..2300 comes by. */
    for (int64_t ms = INT64_C(-5364662400000); ms < INT64_C(10413792000000); ms += INT64_C(2000000123)) {
        utc_format((utc_t){ ms }, buf, sizeof buf);
        assert_int_equal(parsed(buf, true), ms);
    }
}

static void written(void **state)
{
    (void)state;
    char buf[UTC_TEXT_MAX];
    assert_string_equal(utc_format((utc_t){ INT64_C(1772366400123) }, buf, sizeof buf),
                        "2026-03-01T12:00:00.123Z");
    assert_string_equal(utc_format((utc_t){ -1 }, buf, sizeof buf), "1969-12-31T23:59:59.999Z");
    assert_string_equal(utc_format(UTC_NONE, buf, sizeof buf), "");
    assert_string_equal(utc_format((utc_t){ INT64_MAX }, buf, sizeof buf), "");
    assert_string_equal(utc_format((utc_t){ INT64_C(253402300800000) }, buf, sizeof buf), "");
}

static void spans_for_people(void **state)
{
    (void)state;
    static const struct {
        int64_t ms;
        const char *text;
    } rows[] = {
        { 0, "0 s" },
        { 400, "0 s" },
        { -400, "0 s" },
        { 45000, "45 s" },
        { 59499, "59 s" },
        { 59500, "1 min" },
        { 12 * MS_PER_MIN, "12 min" },
        { 60 * MS_PER_MIN, "1 h" },
        { 160 * MS_PER_MIN, "2 h 40 min" },
        { 160 * MS_PER_MIN + 20000, "2 h 40 min" },
        { 23 * MS_PER_HOUR + 59 * MS_PER_MIN, "23 h 59 min" },
        { 24 * MS_PER_HOUR - 1000, "1 d" },
        { 76 * MS_PER_HOUR, "3 d 4 h" },
        { -90 * MS_PER_MIN, "-1 h 30 min" },
    };
    char buf[40];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_string_equal(span_format(rows[i].ms, buf, sizeof buf), rows[i].text);
    assert_string_equal(span_format(INT64_MIN, buf, sizeof buf), "-106751991167 d 7 h");
}

static void two_clocks(void **state)
{
    (void)state;
    struct now now = { { 1000000 }, { 500 }, true };
    assert_int_equal(utc_of_mono((mono_t){ 300 }, now).ms, 999800);
    assert_int_equal(mono_of_utc((utc_t){ 999800 }, now).ms, 300);
    assert_false(utc_is_set(UTC_NONE));
    assert_false(mono_is_set(MONO_NONE));
    assert_true(utc_within((utc_t){ 900 }, (utc_t){ 1000 }, 100));
    assert_false(utc_within((utc_t){ 899 }, (utc_t){ 1000 }, 100));
    assert_false(utc_within((utc_t){ 1001 }, (utc_t){ 1000 }, 100));
    assert_false(utc_within(UTC_NONE, (utc_t){ 1000 }, INT64_MAX));
    assert_int_equal(mono_min(mono_add((mono_t){ 5 }, 10), MONO_NEVER).ms, 15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_instants),
        cmocka_unit_test(zones),
        cmocka_unit_test(as_the_subscriber_writes_it),
        cmocka_unit_test(fractions_are_cut),
        cmocka_unit_test(anything_else_is_refused),
        cmocka_unit_test(writing_and_reading_are_inverse),
        cmocka_unit_test(written),
        cmocka_unit_test(spans_for_people),
        cmocka_unit_test(two_clocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
