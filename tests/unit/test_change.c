/* Changes worked by hand: what is left after n changes is (1 - f)^n. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/change.h"
#include "plan_room.h"

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
