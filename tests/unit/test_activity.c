/* Davies coefficients at 25 degrees: 0.966 and 0.870 for charges 1 and 2 at I = 0.001, 0.902 and 0.662 at
 * 0.01 (Stumm & Morgan, Aquatic Chemistry, 3rd ed., table 3.3 within its rounding). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/activity.h"
#include "near.h"

static void published(void **state)
{
    (void)state;
    near(activity_coefficient(1, 0.001, 25), 0.965, 0.003);
    near(activity_coefficient(2, 0.001, 25), 0.868, 0.005);
    near(activity_coefficient(1, 0.01, 25), 0.902, 0.003);
    near(activity_coefficient(2, 0.01, 25), 0.662, 0.005);
}

static void limits(void **state)
{
    (void)state;
    near(activity_coefficient(2, 0, 25), 1, 1e-15);
    near(activity_coefficient(0, 0.1, 25), 1, 1e-15);
    near(activity_coefficient(-1, 0.01, 10), activity_coefficient(1, 0.01, 10), 1e-15);
    near(activity_ionic_strength(1000), 0.016, 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published),
        cmocka_unit_test(limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
