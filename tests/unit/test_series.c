#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "engine/series.h"

#define ROW  30
#define ROWS 400

/* Repeatable noise of about one standard deviation: the sum of twelve even ones, less six. */
static double noise(void)
{
    static uint32_t x = 1;
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        x = x * 1664525u + 1013904223u;
        sum += (double)(x >> 8) / 16777216.0;
    }
    return sum;
}

/* How many of ROWS rows are taken for slopes. */
static int taken(double (*shape)(int i), double sd)
{
    double x[ROW];
    int count = 0;
    for (int k = 0; k < ROWS; k++) {
        for (int i = 0; i < ROW; i++)
            x[i] = 400 - shape(i) + sd * noise();
        count += series_slopes(x, ROW);
    }
    return count;
}

static double slope(int i)
{
    return 14.0 * i / ROW;
}

static double step(int i)
{
    return i < ROW / 2 ? 0 : 14;
}

static double late_step(int i)
{
    return i < ROW * 3 / 4 ? 0 : 14;
}

static double poured(int i) /* over half an hour */
{
    return i < 12 ? 0 : i < 18 ? 14.0 * (i - 12) / 6 : 14;
}

static void a_slope_is_told_from_a_step(void **state)
{
    (void)state;
    assert_true(taken(slope, 2) > ROWS * 9 / 10);
    assert_true(taken(slope, 3) > ROWS / 2);
    assert_true(taken(step, 3) < ROWS / 50);
    assert_true(taken(late_step, 3) < ROWS / 50);
    assert_true(taken(poured, 3) < ROWS / 10);
}

static void what_lacks_is_stepped_over(void **state)
{
    (void)state;
    double x[ROW];
    for (int i = 0; i < ROW; i++)
        x[i] = i % 5 == 1 ? (double)NAN : 300 - i + 0.1 * noise();
    assert_true(series_slopes(x, ROW));
    for (int i = 5; i < ROW; i++)
        x[i] = NAN;
    assert_false(series_slopes(x, ROW));
}

static void a_fall_all_along_has_no_rest(void **state)
{
    (void)state;
    double x[ROW];
    for (int i = 0; i < ROW; i++)
        x[i] = 300 - i;
    assert_true(series_falls_along(x, ROW, 20));
    assert_false(series_falls_along(x, ROW, 40));
    for (int i = 0; i < ROW; i++)
        x[i] = i < ROW / 2 ? 300 : 270;
    assert_false(series_falls_along(x, ROW, 20));
}

static void teeth_are_counted_by_their_height(void **state)
{
    (void)state;
    double x[40];
    for (int i = 0; i < 40; i++)
        x[i] = i % 10 + (i % 2 == 0 ? 0.4 : 0); /* four rounds of nine; the last has not fallen yet */
    x[15] = NAN;
    assert_int_equal(series_teeth(x, 40, 5), 3);
    assert_int_equal(series_teeth(x, 40, 20), 0);
    assert_int_equal(series_teeth(x, 10, 5), 0);
    assert_int_equal(series_teeth(x, 11, 5), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(a_slope_is_told_from_a_step),
                                        cmocka_unit_test(what_lacks_is_stepped_over),
                                        cmocka_unit_test(a_fall_all_along_has_no_rest),
                                        cmocka_unit_test(teeth_are_counted_by_their_height) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
