/* Worked by hand: in a vessel of twice the water each full stage halves what is left; 5 stages leave 1/32,
 * and the last stops at 5 %. The limit is checked by stepping the mixing itself. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/acclimation.h"
#include "near.h"

static struct acclimation bag(void)
{
    return (struct acclimation){
        .volume_l = 0.5,
        .capacity_l = 1.0,
        .rate_most_l_h = 2,
        .left = 0.05,
        .from = { 20, 400, 7.8 },
        .to = { 24, 200, 6.8 },
        .per_hour = { 2, 50, 0.5 },
    };
}

static void schedule(void **state)
{
    (void)state;
    struct acclimation a = bag();
    struct acclimation_plan p;
    assert_int_equal(acclimation_eval(&a, &p, NULL), STATUS_OK);
    assert_int_equal(p.count, 5);
    assert_int_equal(p.governs, ACCLIMATION_EC);
    near(p.stages[0].rate_l_h, 50 * 0.5 / 200, 1e-12);
    near(p.stages[0].hours, 4, 1e-9);
    near(p.stages[0].reached[ACCLIMATION_EC], 300, 1e-9);
    near(p.stages[0].discard_l, 0.5, 1e-9);
    near(p.stages[1].hours, 2, 1e-9);
    near(p.stages[4].reached[ACCLIMATION_EC], 210, 1e-9);
    near(p.stages[4].reached[ACCLIMATION_TEMP], 23.8, 1e-9);
    near(p.stages[4].discard_l, 0, 0);
    near(p.litres, 4 * 0.5 + 0.5 * (1 / (0.05 * 16) - 1), 1e-9);
}

static void limit_is_kept_all_the_way(void **state)
{
    (void)state;
    struct acclimation a = bag();
    struct acclimation_plan p;
    assert_int_equal(acclimation_eval(&a, &p, NULL), STATUS_OK);
    double c = a.from[ACCLIMATION_EC];
    for (int i = 0; i < p.count; i++) {
        double v = a.volume_l, step = p.stages[i].hours / 10000;
        for (int k = 0; k < 10000; k++) {
            double next = (c * v + a.to[ACCLIMATION_EC] * p.stages[i].rate_l_h * step) /
                          (v + p.stages[i].rate_l_h * step);
            assert_true(fabs(next - c) / step <= 50.0001);
            c = next;
            v += p.stages[i].rate_l_h * step;
        }
        near(c, p.stages[i].reached[ACCLIMATION_EC], 1e-6);
    }
}

static void unknown_and_unlimited(void **state)
{
    (void)state;
    struct acclimation a = bag();
    struct acclimation_plan p;
    a.from[ACCLIMATION_EC] = (double)NAN;
    a.per_hour[ACCLIMATION_PH] = (double)NAN;
    assert_int_equal(acclimation_eval(&a, &p, NULL), STATUS_OK);
    assert_int_equal(p.governs, ACCLIMATION_TEMP);
    assert_true(isnan(p.stages[0].reached[ACCLIMATION_EC]));
    a.per_hour[ACCLIMATION_TEMP] = (double)NAN;
    assert_int_equal(acclimation_eval(&a, &p, NULL), STATUS_OK);
    assert_int_equal(p.governs, ACCLIMATION_AXES);
    near(p.stages[0].rate_l_h, 2, 0);
    struct acclimation same = bag();
    memcpy(same.to, same.from, sizeof same.to);
    assert_int_equal(acclimation_eval(&same, &p, NULL), STATUS_OK);
    assert_int_equal(p.count, 0);
    near(p.hours, 0, 0);
}

static void refusals(void **state)
{
    (void)state;
    struct acclimation a = bag();
    struct acclimation_plan p = { .count = 7 };
    struct why why;
    a.capacity_l = 0.56;
    a.left = 0.01;
    assert_int_equal(acclimation_eval(&a, &p, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "larger vessel"));
    a = bag();
    a.capacity_l = 0.5;
    assert_int_equal(acclimation_eval(&a, &p, &why), STATUS_INVALID);
    a = bag();
    a.per_hour[ACCLIMATION_PH] = 0;
    assert_int_equal(acclimation_eval(&a, &p, &why), STATUS_INVALID);
    a = bag();
    a.volume_l = 0;
    assert_int_equal(acclimation_eval(&a, &p, &why), STATUS_INVALID);
    a = bag();
    a.rate_most_l_h = 0;
    assert_int_equal(acclimation_eval(&a, &p, &why), STATUS_INVALID);
    assert_int_equal(p.count, 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(schedule),
        cmocka_unit_test(limit_is_kept_all_the_way),
        cmocka_unit_test(unknown_and_unlimited),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
