/* What a stretch of history comes to. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "show/tally.h"

#define NO_BAND ((struct span){ NAN, NAN })

static struct tally_point point(int minute, double mean, double lo, double hi)
{
    return (struct tally_point){ { minute * MS_PER_MIN }, mean, lo, hi, 10, 9 };
}

static void extremes_mean_and_shares(void **state)
{
    const struct tally_point points[] = { point(0, 20, 19, 21), point(15, 22, 21, 25),
                                          point(30, NAN, NAN, NAN), point(45, 24, 18, 24.5) };
    struct tally t;
    (void)state;
    tally_of(points, 4, 15 * MS_PER_MIN, (struct span){ 20, 23 }, &t);
    assert_int_equal(t.n, 40);
    assert_int_equal(t.good, 36);
    assert_true(t.lo == 18 && t.hi == 25 && t.mean == 22 && t.last == 24);
    assert_int_equal(t.lo_at.ms, 45 * MS_PER_MIN);
    assert_int_equal(t.hi_at.ms, 15 * MS_PER_MIN);
    assert_true(t.swing == 4); /* of means, so that noise is no swing */
    assert_float_equal(t.in_band, 2.0 / 3, 1e-9);
    assert_int_equal(t.usual_step_ms, 15 * MS_PER_MIN);
}

static void a_limit_is_inside_and_an_open_side_is_no_limit(void **state)
{
    const struct tally_point points[] = { point(0, 20, 20, 20), point(15, 30, 30, 30) };
    struct tally t;
    (void)state;
    tally_of(points, 2, MS_PER_MIN, (struct span){ 20, 30 }, &t);
    assert_true(t.in_band == 1);
    tally_of(points, 2, MS_PER_MIN, (struct span){ NAN, 25 }, &t);
    assert_true(t.in_band == 0.5);
    tally_of(points, 2, MS_PER_MIN, NO_BAND, &t);
    assert_true(isnan(t.in_band));
}

/* A slow drift over days is no swing within one. */
static void a_swing_is_of_a_day(void **state)
{
    struct tally_point points[30 * 24];
    struct tally t;
    (void)state;
    for (int i = 0; i < 30 * 24; i++)
        points[i] = point(i * 60, i * 0.1, i * 0.1, i * 0.1);
    tally_of(points, 30 * 24, MS_PER_HOUR, NO_BAND, &t);
    assert_float_equal(t.swing, 2.3, 1e-9);
    tally_of(points, 30 * 24, 12 * MS_PER_HOUR, NO_BAND, &t);
    assert_true(isnan(t.swing));
}

static void nothing_is_nothing(void **state)
{
    const struct tally_point points[] = { point(0, NAN, NAN, NAN) };
    struct tally t;
    (void)state;
    tally_of(points, 1, MS_PER_MIN, NO_BAND, &t);
    assert_int_equal(t.n, 10);
    assert_true(isnan(t.lo) && isnan(t.mean) && isnan(t.hi) && isnan(t.swing) && isnan(t.last));
    assert_false(utc_is_set(t.last_t));
    tally_of(NULL, 0, MS_PER_MIN, NO_BAND, &t);
    assert_int_equal(t.n, 0);
    assert_int_equal(t.usual_step_ms, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(extremes_mean_and_shares),
        cmocka_unit_test(a_limit_is_inside_and_an_open_side_is_no_limit),
        cmocka_unit_test(a_swing_is_of_a_day),
        cmocka_unit_test(nothing_is_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
