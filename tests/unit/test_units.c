/* Conversions: definitions of the SI brochure and of UCUM (gallons, inches, inches of mercury), hardness
 * after DIN 38409-6 (1 dH = 0.178326 mmol/L = 0.356652 meq/L = 17.848 mg/L CaCO3), 1 Clark = 1 grain of CaCO3
 * per imperial gallon = 14.254 mg/L. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/units.h"

static const struct {
    enum unit_kind kind;
    const char *name;
    double x, stored, tolerance;
} known[] = {
    { UNIT_TEMP, "Cel", 24, 24, 0 },
    { UNIT_TEMP, "[degF]", 75.2, 24, 1e-12 },
    { UNIT_TEMP, "degF", 32, 0, 1e-12 },
    { UNIT_TEMP, "°F", -40, -40, 1e-12 },
    { UNIT_TEMP, "ºC", 5, 5, 0 },
    { UNIT_TEMP, "K", 298.15, 25, 1e-12 },
    { UNIT_EC, "mS/cm", 0.38, 380, 1e-12 },
    { UNIT_EC, "\xC2\xB5S/cm", 200, 200, 0 },
    { UNIT_EC, "\xCE\xBCS/cm", 200, 200, 0 },
    { UNIT_EC, "S/m", 0.02, 200, 1e-12 },
    { UNIT_MASS_CONC, "mg/l", 7, 7, 0 },
    { UNIT_MASS_CONC, "g/L", 0.2, 200, 1e-12 },
    { UNIT_MASS_CONC, "ppm", 3, 3, 0 },
    { UNIT_GH, "mg/L CaCO3", 17.848, 1, 1e-9 },
    { UNIT_GH, "mg/L", 178.48, 10, 1e-9 },
    { UNIT_GH, "mmol/L", 0.178326, 1, 1e-9 },
    { UNIT_GH, "meq/L", 0.356652, 1, 1e-9 },
    { UNIT_GH, "°fH", 1.7848, 1, 1e-9 },
    { UNIT_GH, "°e", 1.25214, 1, 1e-5 },
    { UNIT_KH, "meq/L", 1, 2.803854, 1e-6 },
    { UNIT_KH, "mmol/L", 1, 2.803854, 1e-6 },
    { UNIT_KH, "mg/L", 71, 3.978036, 1e-6 },
    { UNIT_KH, "fH", 10, 5.602869, 1e-6 },
    { UNIT_CALCIUM, "mg/L_Ca", 40.078, 5.607707, 1e-6 },
    { UNIT_CALCIUM, "mg/L CaCO3", 17.848, 1, 1e-9 },
    { UNIT_AMOUNT, "umol/L", 250, 0.25, 1e-12 },
    { UNIT_DOSE, "mg/L", 250, 0.25, 1e-12 },
    { UNIT_VOLUME, "[gal_us]", 10, 37.85411784, 1e-9 },
    { UNIT_VOLUME, "[gal_br]", 10, 45.4609, 1e-9 },
    { UNIT_VOLUME, "gal", 1, 3.785411784, 1e-12 },
    { UNIT_VOLUME, "ml", 750, 0.75, 1e-12 },
    { UNIT_MASS, "mg", 1500, 1.5, 1e-12 },
    { UNIT_LENGTH, "m", 1.2, 1200, 1e-9 },
    { UNIT_LENGTH, "cm", 12, 120, 1e-9 },
    { UNIT_VOLTAGE, "V", 0.1775, 177.5, 1e-9 },
    { UNIT_POWER, "kW", 0.05, 50, 1e-9 },
    { UNIT_FLOW, "L/h", 300, 5, 1e-9 },
    { UNIT_PRESSURE, "kPa", 101.325, 1013.25, 1e-9 },
    { UNIT_PRESSURE, "mbar", 1000, 1000, 0 },
    { UNIT_PRESSURE, "inHg", 29.92126, 1013.25, 1e-3 },
    { UNIT_PRESSURE, "atm", 1, 1013.25, 1e-9 },
    { UNIT_PRESSURE, "mmHg", 760, 1013.25, 1e-3 },
    { UNIT_TIME, "h", 2, 7200000, 1e-6 },
    { UNIT_TIME, "d", 1, 86400000, 1e-6 },
    { UNIT_RATIO, "%", 25, 0.25, 1e-12 },
    { UNIT_NONE, "pH", 7.2, 7.2, 0 },
};

static void converts_both_ways(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        struct unit u;
        if (unit_find(known[i].name, known[i].kind, &u) != STATUS_OK)
            fail_msg("%s is not known", known[i].name);
        double stored = unit_to_stored(u, known[i].x);
        if (fabs(stored - known[i].stored) > known[i].tolerance)
            fail_msg("%g %s became %.12g", known[i].x, known[i].name, stored);
        assert_true(fabs(unit_from_stored(u, stored) - known[i].x) < 1e-9);
        assert_int_equal(u.kind, known[i].kind);
    }
}

static void every_spelling_is_found(void **state)
{
    (void)state;
    for (int k = 0; k < UNIT_KIND_COUNT; k++) {
        struct unit first = unit_stored((enum unit_kind)k), u;
        const char *name;
        for (size_t i = 0; (name = unit_spelling((enum unit_kind)k, i)) != NULL; i++) {
            assert_int_equal(unit_find(name, (enum unit_kind)k, &u), STATUS_OK);
            assert_true(u.gain > 0 && isfinite(u.offset));
            if (i == 0)
                assert_true(unit_same(u, first));
        }
        assert_int_equal(unit_find(unit_stored_name((enum unit_kind)k), (enum unit_kind)k, &u), STATUS_OK);
        assert_true(unit_same(u, first));
    }
}

static void nothing_means_stored(void **state)
{
    (void)state;
    struct unit u;
    assert_int_equal(unit_find(NULL, UNIT_EC, &u), STATUS_OK);
    assert_true(unit_same(u, unit_stored(UNIT_EC)));
    assert_int_equal(unit_find("  ", UNIT_TEMP, &u), STATUS_OK);
    assert_true(unit_same(u, unit_stored(UNIT_TEMP)));
}

static void refuses_with_a_sentence(void **state)
{
    (void)state;
    struct unit u = { 4, 7, UNIT_NONE };
    struct why why;
    assert_int_equal(unit_find_n("mS/cm", 5, UNIT_TEMP, &u, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "conductivity"));
    assert_int_equal(unit_find_n("furlong", 7, UNIT_LENGTH, &u, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "furlong"));
    assert_int_equal(unit_find_n("mg/L", 4, UNIT_CALCIUM, &u, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "mg/L_CaCO3"));
    assert_int_equal(unit_find("a unit that is much longer than any unit", UNIT_EC, &u), STATUS_NONE);
    assert_int_equal(unit_find("MS/cm", UNIT_EC, &u), STATUS_NONE);
    assert_int_equal(unit_find("ppm", UNIT_EC, &u), STATUS_NONE);
    assert_true(u.gain == 4 && u.offset == 7);
}

static void sameness(void **state)
{
    (void)state;
    struct unit a, b;
    assert_int_equal(unit_find("[degF]", UNIT_TEMP, &a), STATUS_OK);
    assert_int_equal(unit_find("°F", UNIT_TEMP, &b), STATUS_OK);
    assert_true(unit_same(a, b));
    assert_int_equal(unit_find("K", UNIT_TEMP, &b), STATUS_OK);
    assert_false(unit_same(a, b));
    assert_false(unit_same(unit_stored(UNIT_GH), unit_stored(UNIT_KH)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(converts_both_ways),
        cmocka_unit_test(every_spelling_is_found),
        cmocka_unit_test(nothing_means_stored),
        cmocka_unit_test(refuses_with_a_sentence),
        cmocka_unit_test(sameness),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
