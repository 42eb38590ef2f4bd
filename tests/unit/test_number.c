/* Grammar cases follow RFC 8259 section 6 and the contract in base/number.h. */
#include <float.h>
#include <locale.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "base/number.h"

#define MARK 4711.0

static double parsed(const char *s, enum number_grammar grammar)
{
    double v = MARK;
    enum status st = number_parse(s, strlen(s), grammar, &v);
    if (st != STATUS_OK)
        fail_msg("\"%s\" was refused", s);
    return v;
}

static void refused(const char *s, enum number_grammar grammar)
{
    double v = MARK;
    if (number_parse(s, strlen(s), grammar, &v) != STATUS_INVALID)
        fail_msg("\"%s\" was accepted in grammar %d", s, (int)grammar);
    assert_true(v == MARK);
}

static void plain_tokens(void **state)
{
    (void)state;
    assert_true(parsed("0", NUMBER_PLAIN) == 0.0);
    assert_true(parsed("+7.25", NUMBER_PLAIN) == 7.25);
    assert_true(parsed(".5", NUMBER_PLAIN) == 0.5);
    assert_true(parsed("-25.", NUMBER_PLAIN) == -25.0);
    assert_true(parsed("007", NUMBER_PLAIN) == 7.0);
    assert_true(parsed("1e3", NUMBER_PLAIN) == 1000.0);
    assert_true(parsed("2.5E-1", NUMBER_PLAIN) == 0.25);
    assert_true(parsed("1e-400", NUMBER_PLAIN) == 0.0);
    const char *bad[] = { "",   "-",   ".",   "+",     "3.0abc", " 1", "1 ",  "1,5", "0x10",     "nan", "inf",
                          "1e", "1e+", "--1", "1.2.3", "1e400",  "e5", "NaN", "+-1", "infinity", "1_0" };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        refused(bad[i], NUMBER_PLAIN);
}

static void json_tokens(void **state)
{
    (void)state;
    assert_true(parsed("-0.5", NUMBER_JSON) == -0.5);
    assert_true(parsed("10", NUMBER_JSON) == 10.0);
    assert_true(parsed("1e+2", NUMBER_JSON) == 100.0);
    const char *bad[] = { "+1", ".5", "5.", "01", "-01", "-.5", "1.e2", "1,5" };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        refused(bad[i], NUMBER_JSON);
}

static void comma_tokens(void **state)
{
    (void)state;
    assert_true(parsed("24,5", NUMBER_COMMA) == 24.5);
    assert_true(parsed("24", NUMBER_COMMA) == 24.0);
    refused("24.5", NUMBER_COMMA);
    refused("1,2,3", NUMBER_COMMA);
}

static void length_is_obeyed(void **state)
{
    (void)state;
    double v = MARK;
    assert_int_equal(number_parse("12345", 2, NUMBER_PLAIN, &v), STATUS_OK);
    assert_true(v == 12.0);
    assert_int_equal(number_parse("1\0", 2, NUMBER_PLAIN, &v), STATUS_INVALID);
    char zeros[5000];
    memset(zeros, '0', sizeof zeros);
    assert_int_equal(number_parse(zeros, sizeof zeros, NUMBER_PLAIN, &v), STATUS_INVALID);
}

static void expect_format(double v, int decimals, const char *want)
{
    char buf[64];
    assert_int_equal(number_format(buf, sizeof buf, v, decimals), strlen(want));
    assert_string_equal(buf, want);
}

static void formats(void **state)
{
    (void)state;
    expect_format(24.06, 1, "24.1");
    expect_format(-0.04, 1, "0.0");
    expect_format(-0.0, 0, "0");
    expect_format(-0.06, 1, "-0.1");
    expect_format(1e15, 0, "1000000000000000");
    expect_format(3.0, 12, "3.000000000");
    char buf[4] = "abc";
    assert_int_equal(number_format(buf, sizeof buf, 12.25, 2), 0);
    assert_string_equal(buf, "");
    assert_int_equal(number_format(buf, sizeof buf, (double)NAN, 2), 0);
    assert_int_equal(number_format(buf, 0, 1.0, 2), 0);
}

static void expect_exact(double v, const char *want)
{
    char buf[40];
    assert_int_equal(number_exact(buf, sizeof buf, v), strlen(want));
    assert_string_equal(buf, want);
}

static void exact_forms(void **state)
{
    (void)state;
    expect_exact(0.1, "0.1");
    expect_exact(0.1 + 0.2, "0.30000000000000004");
    expect_exact(1e6, "1000000");
    expect_exact(1e21, "1e21");
    expect_exact(1e-7, "1e-7");
    expect_exact(-2.5e-10, "-2.5e-10");
    expect_exact(DBL_MAX, "1.7976931348623157e308");
    expect_exact(0x1p-1074, "5e-324");
    char buf[3];
    assert_int_equal(number_exact(buf, sizeof buf, 0.25), 0);
    assert_int_equal(number_exact(buf, sizeof buf, (double)INFINITY), 0);
}

static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static void exact_reads_back(void **state)
{
    (void)state;
    uint64_t seed = 20260301;
    print_message("seed %llu\n", (unsigned long long)seed);
    for (int i = 0; i < 20000; i++) {
        uint64_t bits = next_random(&seed);
        double v, back;
        memcpy(&v, &bits, sizeof v);
        char buf[40];
        size_t n = number_exact(buf, sizeof buf, v);
        if (!isfinite(v)) {
            assert_int_equal(n, 0);
            continue;
        }
        assert_int_equal(number_parse(buf, n, NUMBER_JSON, &back), STATUS_OK);
        assert_true(back == v);
    }
}

static void rounds(void **state)
{
    (void)state;
    assert_true(number_round(24.0649, 2) == 24.06);
    assert_true(number_round(-1.5, 0) == -2.0);
    assert_true(number_round(1e300, 3) == 1e300);
    assert_true(isnan(number_round((double)NAN, 1)));
}

static void no_locale(void **state)
{
    (void)state;
    if (setlocale(LC_ALL, "de_DE.UTF-8") == NULL)
        skip();
    assert_true(parsed("1.5", NUMBER_PLAIN) == 1.5);
    expect_format(1.5, 1, "1.5");
    expect_exact(1.5, "1.5");
    setlocale(LC_ALL, "C");
}

static void whole_numbers_to_the_last_digit(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        bool whole;
        int64_t value;
    } rows[] = { { "0", true, 0 },
                 { "-0", true, 0 },
                 { "0042", true, 42 },
                 { "9007199254740993", true, INT64_C(9007199254740993) },
                 { "9223372036854775807", true, INT64_MAX },
                 { "-9223372036854775808", true, INT64_MIN },
                 { "9223372036854775808", false, 0 },
                 { "-9223372036854775809", false, 0 },
                 { "99999999999999999999", false, 0 },
                 { "", false, 0 },
                 { "-", false, 0 },
                 { "+1", false, 0 },
                 { "1.0", false, 0 },
                 { "1e3", false, 0 },
                 { " 1", false, 0 },
                 { "--1", false, 0 } };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        int64_t v = 0;
        if (number_whole(rows[i].text, strlen(rows[i].text), &v) != rows[i].whole || v != rows[i].value)
            fail_msg("%s: %lld", rows[i].text, (long long)v);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_tokens),     cmocka_unit_test(json_tokens),
        cmocka_unit_test(comma_tokens),     cmocka_unit_test(formats),
        cmocka_unit_test(length_is_obeyed), cmocka_unit_test(exact_forms),
        cmocka_unit_test(rounds),           cmocka_unit_test(exact_reads_back),
        cmocka_unit_test(no_locale),        cmocka_unit_test(whole_numbers_to_the_last_digit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
