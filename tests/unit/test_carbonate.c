/* Constants: Plummer & Busenberg (1982), table 1: pK1 6.579 / 6.352, pK2 10.629 / 10.329, pKsp 8.381 / 8.480
 * at 0 / 25 degrees; pKw 13.995 at 25 (Harned & Owen). Water in balance with air: CO2 near 0.6 mg/L at 25
 * degrees and 420 ppm (Henry 10^-1.468), so KH 5 dH stands near pH 8.4 (Stumm & Morgan, ch. 4). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/carbonate.h"
#include "near.h"

static void constants(void **state)
{
    (void)state;
    struct carbonate_constants cold = carbonate_constants_at(0), warm = carbonate_constants_at(25);
    near(-log10(cold.k1), 6.579, 0.005);
    near(-log10(warm.k1), 6.352, 0.002);
    near(-log10(cold.k2), 10.629, 0.006);
    near(-log10(warm.k2), 10.329, 0.002);
    near(-log10(cold.ksp_calcite), 8.381, 0.002);
    near(-log10(warm.ksp_calcite), 8.480, 0.002);
    near(-log10(warm.kw), 13.995, 0.005);
}

static double co2(double ph, double kh, double t, double ec)
{
    struct carbonate c;
    assert_int_equal(carbonate_solve(ph, kh, t, ec, &c, NULL), STATUS_OK);
    return c.co2_mg_l;
}

static void pure_limit_has_a_closed_form(void **state)
{
    (void)state;
    /* No activity, neutral: CO2 = Alk 10^(pK1 - pH) but for carbonate, 0.1 % at pH 7. */
    double alk = 4 * 0.356652e-3;
    near(co2(7, 4, 25, 0), 44010 * alk * pow(10, 6.352 - 7), 0.01 * co2(7, 4, 25, 0));
}

static void balance_with_air(void **state)
{
    (void)state;
    near(co2(8.4, 5, 25, 250), 0.6, 0.1);
}

static void falls_with_ph_and_rises_with_kh(void **state)
{
    (void)state;
    for (double ph = 6; ph < 9; ph += 0.1) {
        assert_true(co2(ph, 3, 24, 200) > co2(ph + 0.1, 3, 24, 200));
        assert_true(co2(ph, 3, 24, 200) < co2(ph, 3.1, 24, 200));
    }
}

static void no_alkalinity_is_acid_water(void **state)
{
    (void)state;
    struct carbonate c;
    assert_int_equal(carbonate_solve(5, 0, 25, 20, &c, NULL), STATUS_OK);
    near(c.hco3_mg_l, 61017e-5, 0.02);
}

static void calcite(void **state)
{
    (void)state;
    double si = 0, more = 0;
    /* Saturated by definition: [Ca] and pH chosen so that IAP = Ksp at zero ionic strength. */
    struct carbonate c;
    assert_int_equal(carbonate_solve(8.0, 5, 25, 0, &c, NULL), STATUS_OK);
    double ca_dh = carbonate_constants_at(25).ksp_calcite / c.co3_activity / 0.178326e-3;
    assert_int_equal(carbonate_calcite_index(8.0, 5, ca_dh, 25, 0, &si, NULL), STATUS_OK);
    near(si, 0, 1e-9);
    assert_int_equal(carbonate_calcite_index(8.0, 5, ca_dh * 10, 25, 0, &more, NULL), STATUS_OK);
    near(more, 1, 1e-9);
}

static void refusals(void **state)
{
    (void)state;
    struct carbonate c;
    double si = 7;
    struct why why;
    assert_int_equal(carbonate_solve(3.9, 4, 25, 200, &c, &why), STATUS_INVALID);
    assert_int_equal(carbonate_solve(7, -1, 25, 200, &c, &why), STATUS_INVALID);
    assert_int_equal(carbonate_solve(7, 4, 51, 200, &c, &why), STATUS_INVALID);
    assert_int_equal(carbonate_solve(7, 4, 25, -1, &c, &why), STATUS_INVALID);
    assert_int_equal(carbonate_solve(10.5, 0.1, 25, 100, &c, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "hydroxide"));
    assert_int_equal(carbonate_calcite_index(7, 4, 0, 25, 200, &si, &why), STATUS_INVALID);
    assert_int_equal(carbonate_calcite_index(7, 4, 101, 25, 200, &si, &why), STATUS_INVALID);
    assert_true(si == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(constants),
        cmocka_unit_test(pure_limit_has_a_closed_form),
        cmocka_unit_test(balance_with_air),
        cmocka_unit_test(falls_with_ph_and_rises_with_kh),
        cmocka_unit_test(no_alkalinity_is_acid_water),
        cmocka_unit_test(calcite),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
