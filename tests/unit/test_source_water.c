/* What a keeper reads of a source. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "model/source_water.h"

#define T0      INT64_C(1772366400000)
#define DAYS(n) ((int64_t)((n) * (double)MS_PER_DAY))

static struct source_water w;
static char buf[400];

static int unknown(void **state)
{
    (void)state;
    w = (struct source_water){ .t = { T0 },
                               .rejection = NAN,
                               .rejection_sd = NAN,
                               .feed_ec = NAN,
                               .feed_t = UTC_NONE,
                               .trend = { NAN, NAN, 0 },
                               .exhausted_ec = 30,
                               .exhausted = UTC_NONE,
                               .early = UTC_NONE,
                               .late = UTC_NONE };
    for (int q = 0; q < Q_COUNT; q++)
        w.values[q] = (struct source_value){ NAN, NAN, ORIGIN_NONE, UTC_NONE, NAN, NAN, 0 };
    return 0;
}

static const char *words(void)
{
    struct text out = text_over(buf, sizeof buf);
    source_water_words(&w, &out);
    return buf;
}

static void set(enum quantity q, double v)
{
    w.values[q].value = v;
    w.values[q].origin = ORIGIN_HAND;
}

static void nothing_is_put_when_nothing_is_known(void **state)
{
    (void)state;
    assert_string_equal(words(), "");
    set(Q_GH, 14);
    set(Q_NO3, 12);
    assert_string_equal(words(), "gh 14.0 °dH, no3 12 mg/L");
}

static void a_unit_that_wears(void **state)
{
    (void)state;
    set(Q_EC, 9.1);
    w.rejection = 0.982;
    w.feed_ec = 512;
    w.wear = SOURCE_WEARING;
    w.trend = (struct source_trend){ 0.31, 0.05, 20 };
    w.exhausted = (utc_t){ T0 + DAYS(68) };
    w.early = (utc_t){ T0 + DAYS(50) };
    w.late = (utc_t){ T0 + DAYS(110) };
    assert_string_equal(words(),
                        "9.1 µS/cm; holds back 98.2 % of 512 µS/cm; rises by 0.31 µS/cm a day: 30 in "
                        "about 68 days (50 to 110)");
    w.late = UTC_NONE;
    assert_non_null(strstr(words(), "(50 at the earliest, perhaps never)"));
    w.wear = SOURCE_EXHAUSTED;
    set(Q_EC, 41.2);
    assert_string_equal(words(),
                        "41 µS/cm; holds back 98.2 % of 512 µS/cm; WORN OUT: 30 is the limit, see to "
                        "membrane and resin");
    assert_string_equal(source_wear_name(w.wear), "exhausted");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(nothing_is_put_when_nothing_is_known, unknown),
        cmocka_unit_test_setup(a_unit_that_wears, unknown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
