/* Sums by hand: 6 L a week each. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/prep.h"
#include "plan_room.h"

static const struct mix_source pure;

static void sums_by_water(void **state)
{
    (void)state;
    struct prep_list list;
    assert_int_equal(prep_eval(&site, 2, &pure, &list, NULL), STATUS_OK);
    assert_int_equal(list.count, 2);
    near(list.waters[0].litres, 12, 1e-12);
    assert_int_equal(list.waters[0].tanks, 1);
    assert_true(list.waters[0].mixed);
    near(list.waters[0].mix.parts[0].grams, 12 * 0.15, 1e-9);
    near(list.topoff_l, 7, 1e-12);
    assert_int_equal(list.topoff_tanks, 1);
    assert_int_equal(list.unknown_tanks, 1);
}

static void a_water_that_cannot_be_mixed_is_told(void **state)
{
    (void)state;
    struct prep_list list;
    waters[1].target[Q_KH] = (double)NAN;
    assert_int_equal(prep_eval(&site, 1, &pure, &list, NULL), STATUS_OK);
    assert_true(list.waters[0].mixed);
    assert_false(list.waters[1].mixed);
    assert_non_null(strstr(list.waters[1].why.text, "hard"));
    assert_int_equal(prep_eval(&site, 0, &pure, &list, NULL), STATUS_INVALID);
    assert_int_equal(prep_eval(&site, 9, &pure, &list, NULL), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(sums_by_water, build),
        cmocka_unit_test_setup(a_water_that_cannot_be_mixed_is_told, build),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
