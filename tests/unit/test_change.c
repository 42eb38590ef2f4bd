/* Changes worked by hand: what is left after n changes is (1 - f)^n. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/change.h"

static void near(double got, double want, double tolerance)
{
    if (!(fabs(got - want) <= tolerance))
        fail_msg("got %.12g, want %.12g within %g", got, want, tolerance);
}

static struct salt salts[] = {
    { .id = "up", .name = "Up", .gh = 30, .kh = 2, .ec = 1300, .tds = 800, .stock_g = 5 },
    { .id = "soda", .name = "Soda", .composition = "KHCO3", .stock_g = 500 },
    { .id = "gypsum", .name = "Gypsum", .composition = "CaSO4.2H2O" },
};
static struct recipe_part weighed[] = { { 0, 0.15 } }, to_solve[] = { { 0, 0 }, { 1, 0 } };
static struct water waters[3];
static struct tank tanks[3];
static struct site site;

static int build(void **state)
{
    (void)state;
    double nan = (double)NAN;
    to_solve[0].g_per_l = to_solve[1].g_per_l = nan;
    salts[1].gh = salts[1].kh = salts[1].ec = salts[1].tds = nan;
    salts[2].gh = salts[2].kh = salts[2].ec = salts[2].tds = salts[2].stock_g = nan;
    for (int w = 0; w < 3; w++)
        for (int q = 0; q < Q_COUNT; q++)
            waters[w].target[q] = nan;
    waters[0].id = "soft";
    waters[0].recipe = weighed;
    waters[0].recipe_count = 1;
    waters[0].target[Q_EC] = 190;
    waters[0].target[Q_PH] = 6.4;
    waters[0].target[Q_TEMP] = 24;
    waters[1].id = "hard";
    waters[1].recipe = to_solve;
    waters[1].recipe_count = 2;
    waters[1].target[Q_GH] = 8;
    waters[1].target[Q_KH] = 4;
    waters[2].id = "any";
    for (int i = 0; i < 3; i++) {
        tanks[i] = (struct tank){ .id = "a", .volume_l = 30, .water = i == 2 ? 1 : 0, .topoff_l_day = nan };
        for (int q = 0; q < Q_COUNT; q++)
            tanks[i].per_hour[q] = tanks[i].step[q] = nan;
        tanks[i].change_l_week = i == 1 ? nan : 6;
    }
    tanks[0].topoff_l_day = 0.5;
    tanks[0].step[Q_EC] = 30;
    tanks[0].per_hour[Q_EC] = 50;
    tanks[0].per_hour[Q_TEMP] = 2;
    site = (struct site){
        .salts = salts, .salt_count = 3, .waters = waters, .water_count = 3, .tanks = tanks, .tank_count = 3
    };
    return 0;
}

static struct why why;

static void held_by_the_step(void **state)
{
    (void)state;
    struct change_ask ask = { 0, Q_EC, 300, 250, 100, 0.3 };
    struct change_plan p;
    assert_int_equal(change_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_true(p.held_by_step);  /* 30 of 200: 15 % */
    assert_int_equal(p.count, 2); /* 0.85^2 = 0.7225 <= 0.75 */
    near(p.fraction, 1 - sqrt(0.75), 1e-9);
    near(p.litres, 30 * p.fraction, 1e-9);
    near(p.after[1], 250, 1e-9);
    assert_true(p.largest_step <= 30 + 1e-9);
}

static void held_by_the_share(void **state)
{
    (void)state;
    struct change_ask ask = { 1, Q_EC, 300, 250, 100, 0.1 };
    struct change_plan p;
    assert_int_equal(change_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_false(p.held_by_step);
    assert_int_equal(p.count, 3); /* 0.9^3 = 0.729 */
    assert_true(p.fraction <= 0.1);
    ask.wanted = 300;
    assert_int_equal(change_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_int_equal(p.count, 0);
}

static void refusals(void **state)
{
    (void)state;
    struct change_plan p;
    struct change_ask no_tank = { 9, Q_EC, 300, 250, 100, 0.3 }, ph = { 0, Q_PH, 7, 6.5, 6, 0.3 };
    struct change_ask same = { 0, Q_EC, 300, 250, 300, 0.3 }, beyond = { 0, Q_EC, 300, 50, 100, 0.3 };
    struct change_ask slow = { 1, Q_EC, 300, 101, 100, 0.01 };
    assert_int_equal(change_eval(&site, &no_tank, &p, &why), STATUS_INVALID);
    assert_int_equal(change_eval(&site, &ph, &p, &why), STATUS_INVALID);
    assert_int_equal(change_eval(&site, &same, &p, &why), STATUS_REFUSED);
    assert_int_equal(change_eval(&site, &beyond, &p, &why), STATUS_REFUSED);
    assert_int_equal(change_eval(&site, &slow, &p, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "changes"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(held_by_the_step, build),
        cmocka_unit_test_setup(held_by_the_share, build),
        cmocka_unit_test_setup(refusals, build),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
