/* Against the definition: sort, take the middle. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/median.h"
#include "near.h"
#include "chance.h"

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void few(void **state)
{
    (void)state;
    double one[] = { 4 }, two[] = { 4, 1 }, three[] = { 9, 1, 4 }, four[] = { 4, 1, 9, 2 },
           same[] = { 3, 3, 3, 3, 3 };
    near(median_of(one, 1), 4, 0);
    near(median_of(two, 2), 2.5, 0);
    near(median_of(three, 3), 4, 0);
    near(median_of(four, 4), 3, 0);
    near(median_of(same, 5), 3, 0);
}

static void agrees_with_sorting(void **state)
{
    (void)state;
    print_message("seed %llu\n", (unsigned long long)seed);
    for (int round = 0; round < 3000; round++) {
        double x[40], sorted[40];
        size_t n = 1 + (size_t)random_between(0, 39.9);
        for (size_t i = 0; i < n; i++)
            sorted[i] = x[i] = round % 2 ? random_between(-5, 5) : floor(random_between(0, 4));
        qsort(sorted, n, sizeof *sorted, by_value);
        double want = n % 2 ? sorted[n / 2] : (sorted[n / 2 - 1] + sorted[n / 2]) / 2;
        near(median_of(x, n), want, 1e-12);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(few),
        cmocka_unit_test(agrees_with_sorting),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
