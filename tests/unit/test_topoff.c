/* Worked by hand: the dissolved mass stays. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/topoff.h"
#include "plan_room.h"

static void by_full_and_by_present_volume(void **state)
{
    (void)state;
    struct topoff_ask ask = { 0, 200, 210, (double)NAN };
    struct topoff_plan p;
    assert_int_equal(topoff_eval(&site, &ask, &p, NULL), STATUS_OK);
    near(p.litres, 30 * (1 - 200.0 / 210), 1e-9);
    assert_false(p.large);
    ask.litres_now = 20;
    ask.now = 240;
    assert_int_equal(topoff_eval(&site, &ask, &p, NULL), STATUS_OK);
    near(p.litres, 4, 1e-9);
    near(p.share, 4 / 30.0, 1e-9);
    assert_true(p.large);
}

static void refusals(void **state)
{
    (void)state;
    struct topoff_plan p;
    struct why why;
    struct topoff_ask diluted = { 0, 200, 190, (double)NAN }, no_tank = { 3, 200, 210, (double)NAN };
    assert_int_equal(topoff_eval(&site, &diluted, &p, &why), STATUS_REFUSED);
    assert_int_equal(topoff_eval(&site, &no_tank, &p, &why), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(by_full_and_by_present_volume, build),
        cmocka_unit_test_setup(refusals, build),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
