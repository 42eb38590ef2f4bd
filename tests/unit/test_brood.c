/* Against the days that the sources name. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "near.h"
#include "water/brood.h"

static double days(enum brood_kind kind, double temp_c)
{
    struct brood b;
    assert_int_equal(brood_eval(kind, temp_c, &b, NULL), STATUS_OK);
    return b.days;
}

static void as_the_sources_say(void **state)
{
    (void)state;
    assert_near(days(BROOD_NEOCARIDINA, 24), 21, 0.5);
    assert_near(days(BROOD_NEOCARIDINA, 28), 15.5, 1);
    assert_near(days(BROOD_NEOCARIDINA, 32), 12, 0.5);
    assert_near(days(BROOD_CARIDINA, 22.75), 30, 1);
    assert_true(days(BROOD_CARIDINA, 27.5) > 19 && days(BROOD_CARIDINA, 20.5) < 41);
}

static void kinds_and_range(void **state)
{
    struct brood b;
    struct why why;
    (void)state;
    assert_int_equal(brood_kind_of("neocaridina-davidi"), BROOD_NEOCARIDINA);
    assert_int_equal(brood_kind_of("Caridina-mariae"), BROOD_CARIDINA);
    assert_int_equal(brood_kind_of("cambarellus-diminutus"), BROOD_UNKNOWN);
    assert_int_equal(brood_eval(BROOD_UNKNOWN, 24, &b, &why), STATUS_NONE);
    assert_int_equal(brood_eval(BROOD_CARIDINA, 17.9, &b, &why), STATUS_INVALID);
    assert_int_equal(brood_eval(BROOD_CARIDINA, 32.1, &b, &why), STATUS_INVALID);
    for (double t = 18; t < 31.9; t += 0.1)
        assert_true(days(BROOD_NEOCARIDINA, t) > days(BROOD_NEOCARIDINA, t + 0.1));
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(as_the_sources_say),
                                        cmocka_unit_test(kinds_and_range) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
