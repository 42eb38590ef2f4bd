/* Rates by hand (limit * volume / difference); un-ionised shares of Emerson et al. 1975: 0.06 % at pH 6.2, 3
 * % at 7.8 near 22 degrees. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/drip.h"
#include "plan_room.h"

static struct drip_ask ask_of(double temp, double ec, double ph)
{
    double nan = (double)NAN;
    return (struct drip_ask){ .tank = 0,
                              .litres = 0.5,
                              .vessel_l = nan,
                              .fastest_l_h = nan,
                              .bag = { temp, ec, ph },
                              .bag_tan_mg_l = nan,
                              .tank_now = { nan, nan, nan } };
}

static void limits_and_targets_of_the_tank(void **state)
{
    (void)state;
    struct drip_ask ask = ask_of(20, 390, 7.5);
    struct drip_plan p;
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    near(p.to[ACCLIMATION_EC], 190, 0);
    assert_int_equal(p.schedule.governs, ACCLIMATION_EC);
    near(p.schedule.stages[0].rate_l_h, 50 * 0.5 / 200, 1e-9);
    assert_false(p.do_not_drip);
    ask.tank_now[ACCLIMATION_EC] = 390;
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_int_equal(p.schedule.governs, ACCLIMATION_TEMP);
}

static void ammonia_that_would_wake(void **state)
{
    (void)state;
    struct drip_ask ask = ask_of(20, 300, 6.2);
    struct drip_plan p;
    ask.bag_tan_mg_l = 3;
    ask.tank_now[ACCLIMATION_PH] = 7.8;
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_true(p.do_not_drip);
    assert_true(p.nh3_bag_mg_l < 0.003 && p.nh3_risen_mg_l > 0.08);
    ask.tank_now[ACCLIMATION_PH] = 6.2; /* no rise of pH */
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_false(p.do_not_drip);
    ask.tank_now[ACCLIMATION_PH] = 7.8;
    ask.bag[ACCLIMATION_PH] = (double)NAN; /* a pH that nobody measured may be low */
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_true(p.do_not_drip);
    ask.bag[ACCLIMATION_PH] = 6.2;
    ask.bag_tan_mg_l = 0.1; /* too little to harm */
    assert_int_equal(drip_eval(&site, &ask, &p, NULL), STATUS_OK);
    assert_false(p.do_not_drip);
}

static void refusals(void **state)
{
    (void)state;
    double nan = (double)NAN;
    struct drip_plan p;
    struct why why;
    struct drip_ask nothing = ask_of(nan, nan, nan), ask = ask_of(20, 300, 7);
    assert_int_equal(drip_eval(&site, &nothing, &p, &why), STATUS_REFUSED);
    ask.tank = 7;
    assert_int_equal(drip_eval(&site, &ask, &p, &why), STATUS_INVALID);
    ask.tank = 0;
    ask.litres = -1;
    assert_int_equal(drip_eval(&site, &ask, &p, &why), STATUS_INVALID);
    ask = ask_of(20, 300, 7);
    tanks[0].water = -1; /* nothing known of the tank */
    assert_int_equal(drip_eval(&site, &ask, &p, &why), STATUS_REFUSED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(limits_and_targets_of_the_tank, build),
        cmocka_unit_test_setup(ammonia_that_would_wake, build),
        cmocka_unit_test_setup(refusals, build),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
