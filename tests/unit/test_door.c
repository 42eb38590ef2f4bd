/* A straight line between kept points is never further than the bound from a point left out. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <cmocka.h>

#include "base/door.h"

#define MANY 4000

static int64_t t[MANY];
static double v[MANY];
static bool kept[MANY];

static int thin(int n, double bound, int64_t longest_ms)
{
    struct door d = door_open(bound, longest_ms);
    int count = 0;
    for (int i = 0; i < n; i++) {
        kept[i] = i == 0 || i == n - 1;
        if (door_pass(&d, t[i], v[i]))
            kept[i - 1] = true;
    }
    for (int i = 0; i < n; i++)
        count += kept[i];
    return count;
}

static double furthest(int n)
{
    double most = 0;
    for (int a = 0; a < n - 1;) {
        int b = a + 1;
        while (!kept[b])
            b++;
        for (int i = a + 1; i < b; i++) {
            double line = v[a] + (v[b] - v[a]) * (double)(t[i] - t[a]) / (double)(t[b] - t[a]);
            most = fmax(most, fabs(line - v[i]));
        }
        a = b;
    }
    return most;
}

static unsigned lcg;
static double random_unit(void)
{
    lcg = lcg * 1664525u + 1013904223u;
    return (double)(lcg >> 8) / (1 << 24);
}

static void make(unsigned seed, int n)
{
    double level = 24, at = 0;
    lcg = seed;
    for (int i = 0; i < n; i++) {
        at += 1000 + floor(random_unit() * 30000);
        level += (random_unit() - 0.5) * (random_unit() < 0.02 ? 2 : 0.02);
        t[i] = (int64_t)at;
        v[i] = level + (random_unit() - 0.5) * 0.05;
    }
}

static void the_bound_holds_for_random_series(void **state)
{
    (void)state;
    for (unsigned seed = 1; seed <= 50; seed++) {
        make(seed, MANY);
        double bound = 0.01 + 0.002 * seed;
        int count = thin(MANY, bound, 3600000);
        if (furthest(MANY) > bound * (1 + 1e-9))
            fail_msg("seed %u: %g off, %g allowed", seed, furthest(MANY), bound);
        assert_true(count < MANY);
    }
}

static void a_straight_line_needs_its_ends(void **state)
{
    (void)state;
    for (int i = 0; i < 100; i++) {
        t[i] = i * 1000;
        v[i] = 20 + i * 0.01;
    }
    assert_int_equal(thin(100, 0.001, INT64_C(100000000)), 2);
}

static void a_step_keeps_both_its_sides(void **state)
{
    (void)state;
    for (int i = 0; i < 100; i++) {
        t[i] = i * 1000;
        v[i] = i < 50 ? 20 : 25;
    }
    assert_int_equal(thin(100, 0.1, INT64_C(100000000)), 4);
    assert_true(kept[49] && kept[50]);
}

static void no_gap_is_longer_than_allowed(void **state)
{
    (void)state;
    for (int i = 0; i < 1000; i++) {
        t[i] = i * 10000;
        v[i] = 20;
    }
    thin(1000, 0.1, 900000);
    for (int i = 1, last = 0; i < 1000; i++)
        if (kept[i]) {
            assert_true(t[i] - t[last] <= 900000);
            last = i;
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_bound_holds_for_random_series),
        cmocka_unit_test(a_straight_line_needs_its_ends),
        cmocka_unit_test(a_step_keeps_both_its_sides),
        cmocka_unit_test(no_gap_is_longer_than_allowed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
