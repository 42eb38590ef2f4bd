/* Factors: ISO 7888:1985, table of annex A (natural waters): 1.918 at 0, 1.116 at 20, 1 at 25 degrees; 0.0191
 * per degree: the same standard, 6.3. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/conductivity.h"
#include "near.h"

static double natural(double t)
{
    double f = 0;
    assert_int_equal(conductivity_factor_natural(t, &f, NULL), STATUS_OK);
    return f;
}

static void iso_7888_table(void **state)
{
    (void)state;
    near(natural(0), 1.918, 1.918 * 0.002);
    near(natural(20), 1.116, 1.116 * 0.002);
    near(natural(25), 1.000, 0.002);
}

static void natural_falls_with_warmth(void **state)
{
    (void)state;
    for (double t = 0; t < 36; t += 0.5)
        assert_true(natural(t) > natural(t + 0.5));
}

static void linear_line(void **state)
{
    (void)state;
    double f = 0, ec = 0;
    assert_int_equal(conductivity_factor_linear(20, CONDUCTIVITY_ALPHA, &f, NULL), STATUS_OK);
    near(f, 1 / (1 - 0.0955), 1e-12);
    assert_int_equal(conductivity_at_25(300, 25, 0.02, &ec, &f, NULL), STATUS_OK);
    near(ec, 300, 1e-9);
    assert_int_equal(conductivity_at_25(300, 20, (double)NAN, &ec, &f, NULL), STATUS_OK);
    near(ec, 300 * natural(20), 1e-9);
    near(conductivity_tds(200, 0.64), 128, 1e-9);
}

static void refusals(void **state)
{
    (void)state;
    double f = 7, ec = 7;
    struct why why;
    assert_int_equal(conductivity_factor_natural(36.1, &f, &why), STATUS_INVALID);
    assert_non_null(strstr(why.text, "36.1"));
    assert_int_equal(conductivity_factor_natural(-0.1, &f, &why), STATUS_INVALID);
    assert_int_equal(conductivity_factor_natural((double)NAN, &f, &why), STATUS_INVALID);
    assert_int_equal(conductivity_factor_linear(51, 0.02, &f, &why), STATUS_INVALID);
    assert_int_equal(conductivity_factor_linear(20, 0.04, &f, &why), STATUS_INVALID);
    assert_int_equal(conductivity_at_25(-1, 20, (double)NAN, &ec, &f, &why), STATUS_INVALID);
    assert_true(f == 7 && ec == 7);
    assert_int_equal(conductivity_factor_natural(0, &f, &why), STATUS_OK);
    assert_int_equal(conductivity_factor_natural(36, &f, &why), STATUS_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(iso_7888_table),
        cmocka_unit_test(natural_falls_with_warmth),
        cmocka_unit_test(linear_line),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
