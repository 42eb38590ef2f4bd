/* Against the definition: every pair, sorted. The example with one gross outlier is worked by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/trend.h"
#include "near.h"
#include "chance.h"

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double middle(double *x, size_t n)
{
    qsort(x, n, sizeof *x, by_value);
    return n % 2 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

static double scratch[TREND_SCRATCH(60)];

static void by_hand(void **state)
{
    (void)state;
    struct trend found;
    /* Slopes 1, 1, 29, 1, 43, 85: middle two 1 and 29. */
    double t[] = { 0, 1, 2, 3 }, v[] = { 1, 2, 3, 88 };
    assert_int_equal(trend_fit(t, v, 4, scratch, &found, NULL), STATUS_OK);
    near(found.slope, 15, 1e-12);
    double t2[] = { 0, 1, 2, 3, 4 }, v2[] = { 1, 2, 3, 88, 5 };
    assert_int_equal(trend_fit(t2, v2, 5, scratch, &found, NULL), STATUS_OK);
    near(found.slope, 1, 1e-12);
    near(found.intercept, 1, 1e-12);
    double twice_t[] = { 1, 1, 2 }, twice_v[] = { 5, 7, 8 };
    assert_int_equal(trend_fit(twice_t, twice_v, 3, scratch, &found, NULL), STATUS_OK);
    near(found.slope, 2, 1e-12);
    near(found.intercept, 4, 1e-12);
}

static void agrees_with_the_definition(void **state)
{
    (void)state;
    print_message("seed %llu\n", (unsigned long long)seed);
    for (int round = 0; round < 200; round++) {
        double t[60], v[60], slopes[1770], rest[60];
        size_t n = 2 + (size_t)random_between(0, 57.9), count = 0;
        for (size_t i = 0; i < n; i++) {
            t[i] = floor(random_between(0, 100)) + (i == 0 ? 0.5 : 0);
            v[i] = 200 + 0.3 * t[i] + random_between(-4, 4) + (i % 7 == 3 ? 50 : 0);
        }
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < i; j++)
                if (t[i] != t[j])
                    slopes[count++] = (v[i] - v[j]) / (t[i] - t[j]);
        double slope = middle(slopes, count);
        for (size_t i = 0; i < n; i++)
            rest[i] = v[i] - slope * t[i];
        struct trend found;
        assert_int_equal(trend_fit(t, v, n, scratch, &found, NULL), STATUS_OK);
        near(found.slope, slope, 1e-9);
        near(found.intercept, middle(rest, n), 1e-9);
    }
}

static void refusals(void **state)
{
    (void)state;
    struct trend found = { 7, 7 };
    struct why why;
    double same[] = { 3, 3, 3 }, v[] = { 1, 2, (double)NAN };
    assert_int_equal(trend_fit(same, same, 3, scratch, &found, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "same time"));
    assert_int_equal(trend_fit(same, same, 1, scratch, &found, &why), STATUS_REFUSED);
    assert_int_equal(trend_fit(same, same, 0, scratch, &found, &why), STATUS_REFUSED);
    assert_int_equal(trend_fit(same, v, 3, scratch, &found, &why), STATUS_INVALID);
    static double many[TREND_POINTS_MAX + 1];
    assert_int_equal(trend_fit(many, many, TREND_POINTS_MAX + 1, scratch, &found, &why), STATUS_INVALID);
    assert_true(found.slope == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_hand),
        cmocka_unit_test(agrees_with_the_definition),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
