/* Closed forms of the law itself: after one tau 1/e is left; half is gone after tau ln 2. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/heat.h"
#include "near.h"

static void cooling(void **state)
{
    (void)state;
    double v = 0;
    assert_int_equal(heat_after(26, 18, 5, 5, &v, NULL), STATUS_OK);
    near(v, 18 + 8 * exp(-1), 1e-12);
    assert_int_equal(heat_time_to(26, 18, 5, 22, &v, NULL), STATUS_OK);
    near(v, 5 * log(2), 1e-12);
    assert_int_equal(heat_time_to(26, 18, 5, 26, &v, NULL), STATUS_OK);
    near(v, 0, 0);
    assert_int_equal(heat_time_to(16, 22, 4, 19, &v, NULL), STATUS_OK);
    near(v, 4 * log(2), 1e-12);
}

static void warming_with_a_heater(void **state)
{
    (void)state;
    /* 25 W in 20 L, tau 4 h: 25 * 14400 / 83720 = 4.3 degrees above the room. */
    double c = heat_capacity_j_k(20, 0);
    near(c, 83720, 1e-9);
    near(heat_settles_c(20, 25, c, 4), 20 + 25.0 * 14400 / 83720, 1e-9);
    near(heat_capacity_j_k(20, 5), 83720 + 4200, 1e-9);
}

static void time_and_temperature_are_inverse(void **state)
{
    (void)state;
    for (double limit = 18.1; limit < 26; limit += 0.3) {
        double h = 0, t = 0;
        assert_int_equal(heat_time_to(26, 18, 7.3, limit, &h, NULL), STATUS_OK);
        assert_int_equal(heat_after(26, 18, 7.3, h, &t, NULL), STATUS_OK);
        near(t, limit, 1e-10);
    }
}

static void refusals(void **state)
{
    (void)state;
    double v = 7;
    struct why why;
    assert_int_equal(heat_time_to(26, 18, 5, 18, &v, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "settles at 18"));
    assert_int_equal(heat_time_to(26, 18, 5, 17, &v, &why), STATUS_REFUSED);
    assert_int_equal(heat_time_to(26, 18, 5, 27, &v, &why), STATUS_REFUSED);
    assert_int_equal(heat_time_to(20, 20, 5, 19, &v, &why), STATUS_REFUSED);
    assert_int_equal(heat_time_to(26, 18, 0, 20, &v, &why), STATUS_INVALID);
    assert_int_equal(heat_time_to(26, 18, 5, 99, &v, &why), STATUS_INVALID);
    assert_int_equal(heat_after(26, 18, 5, -1, &v, &why), STATUS_INVALID);
    assert_int_equal(heat_after(260, 18, 5, 1, &v, &why), STATUS_INVALID);
    assert_true(v == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cooling),
        cmocka_unit_test(warming_with_a_heater),
        cmocka_unit_test(time_and_temperature_are_inverse),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
