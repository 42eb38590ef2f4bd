/* Saturation at 1 atm: Benson & Krause as tabulated in Standard Methods 4500-O and by the US Geological
 * Survey (2011). Salinity factor 0.9968 at 1000 uS/cm and 25 degrees, and pressure of the standard atmosphere
 * at 500, 1000, 2000 m: 954.6, 898.7, 795.0 hPa (ICAO). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/oxygen.h"
#include "near.h"

static double saturation(double t, double p, double ec)
{
    double c = 0;
    assert_int_equal(oxygen_saturation(t, p, ec, &c, NULL), STATUS_OK);
    return c;
}

static void table(void **state)
{
    (void)state;
    static const double at[] = { 14.621, 12.770, 11.288, 10.084, 9.092, 8.263, 7.559, 6.949, 6.412 };
    for (int i = 0; i < 9; i++)
        near(saturation(5.0 * i, 1013.25, 0), at[i], 0.005);
}

static void pressure_and_salt_matter(void **state)
{
    (void)state;
    near(saturation(25, 1013.25, 1000) / saturation(25, 1013.25, 0), 0.9968, 0.0002);
    /* Nearly in proportion to the dry part of the air: (P - u)/(1 - u), u = 31.7 hPa at 25 degrees. */
    near(saturation(25, 900, 0), 8.263 * (900 - 31.7) / (1013.25 - 31.7), 0.01);
}

static void altitude(void **state)
{
    (void)state;
    double p = 0;
    assert_int_equal(oxygen_pressure_at(0, &p, NULL), STATUS_OK);
    near(p, 1013.25, 1e-9);
    assert_int_equal(oxygen_pressure_at(500, &p, NULL), STATUS_OK);
    near(p, 954.6, 0.1);
    assert_int_equal(oxygen_pressure_at(1000, &p, NULL), STATUS_OK);
    near(p, 898.7, 0.1);
    assert_int_equal(oxygen_pressure_at(2000, &p, NULL), STATUS_OK);
    near(p, 795.0, 0.1);
}

static void refusals(void **state)
{
    (void)state;
    double c = 7;
    struct why why;
    assert_int_equal(oxygen_saturation(-0.1, 1013, 0, &c, &why), STATUS_INVALID);
    assert_int_equal(oxygen_saturation(40.1, 1013, 0, &c, &why), STATUS_INVALID);
    assert_int_equal(oxygen_saturation(25, 101.3, 0, &c, &why), STATUS_INVALID);
    assert_int_equal(oxygen_saturation(25, 1013, -1, &c, &why), STATUS_INVALID);
    assert_int_equal(oxygen_pressure_at(9000, &c, &why), STATUS_INVALID);
    assert_true(c == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table),
        cmocka_unit_test(pressure_and_salt_matter),
        cmocka_unit_test(altitude),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
