/* Level, slope, noise and steps of the last minutes, against rows whose answer is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "engine/minutes.h"
#include "near.h"

#define FROM 29539440 /* a minute of 2026 */

static struct minutes m;
static int32_t now_min;

static int empty(void **state)
{
    (void)state;
    m = (struct minutes){ .count = 0 };
    now_min = FROM;
    return 0;
}

static void feed(double temp_c, int minutes_on)
{
    now_min += minutes_on;
    minutes_feed(&m, temp_c, (utc_t){ (int64_t)now_min * MS_PER_MIN + 500 });
}

static double slope(int minutes)
{
    int count;
    return minutes_slope(&m, m.count, now_min, minutes, &count);
}

static void nothing_is_known_of_nothing(void **state)
{
    (void)state;
    int32_t step;
    assert_true(isnan(minutes_level(&m, now_min)) && isnan(slope(30)));
    assert_true(isnan(minutes_turns(&m, 0, now_min, 30).lo));
    assert_near(minutes_noise(&m), 0, 0);
    assert_near(minutes_apart(&m), 0, 0);
    assert_int_equal(minutes_since_step(&m, 1, 0, &step), 0);
}

static void a_steady_fall_has_its_slope(void **state)
{
    (void)state;
    for (int i = 0; i < 40; i++)
        feed(24 - 0.6 * i / 60, 1);
    assert_near(slope(30), -0.6, 1e-9);
    assert_near(minutes_level(&m, now_min), 24 - 0.6 * 37 / 60, 1e-9);
    assert_near(minutes_apart(&m), 1, 1e-9);
    assert_near(minutes_turns(&m, m.count, now_min, 60).hi, 24 - 0.6 / 60, 1e-9);
    assert_true(isnan(minutes_level(&m, now_min + 21)));
}

static void within_a_minute_the_mean_counts_and_late_ones_do_not(void **state)
{
    (void)state;
    feed(20, 1);
    feed(22, 0);
    feed(30, -1);
    now_min++;
    assert_int_equal(m.count, 1);
    assert_near(minutes_level(&m, now_min), 21, 1e-9);
}

/* A probe of 0.0625 K that shows the same for most of the time does not seem noiseless. */
static void a_coarse_probe_errs_by_its_step(void **state)
{
    (void)state;
    for (int i = 0; i < 40; i++)
        feed(i < 20 ? 22 : 22.0625, 1);
    assert_near(minutes_noise(&m), 0.75 * 0.0625, 1e-9);
}

static void poured_water_begins_a_new_course(void **state)
{
    (void)state;
    int32_t step;
    for (int i = 0; i < 30; i++)
        feed(i < 20 ? 24 : 23, 1);
    assert_int_equal(minutes_since_step(&m, 1, 0, &step), 10);
    assert_int_equal(step, FROM + 21);
    assert_int_equal(minutes_since_step(&m, 70, 0, &step), 30);
    assert_int_equal(step, 0);
}

static void a_heater_warms_evenly_a_jug_does_not(void **state)
{
    (void)state;
    for (int i = 0; i < 30; i++)
        feed(22 + 1.2 * i / 60, 1);
    assert_true(minutes_rise_evenly(&m, m.count, now_min, 30, 0));
    empty(NULL);
    for (int i = 0; i < 30; i++)
        feed(i < 24 ? 22 : 22.6, 1);
    assert_false(minutes_rise_evenly(&m, m.count, now_min, 30, 0));
}

static void calibrated_it_moves_along(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++)
        feed(20 + i / 60.0, 2);
    minutes_shift(&m, 2, 1);
    assert_near(slope(30), 1, 1e-9);
    assert_near(minutes_turns(&m, m.count, now_min, 60).lo, 2 * (20 + 1 / 60.0) + 1, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(nothing_is_known_of_nothing, empty),
        cmocka_unit_test_setup(a_steady_fall_has_its_slope, empty),
        cmocka_unit_test_setup(within_a_minute_the_mean_counts_and_late_ones_do_not, empty),
        cmocka_unit_test_setup(a_coarse_probe_errs_by_its_step, empty),
        cmocka_unit_test_setup(poured_water_begins_a_new_course, empty),
        cmocka_unit_test_setup(a_heater_warms_evenly_a_jug_does_not, empty),
        cmocka_unit_test_setup(calibrated_it_moves_along, empty),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
