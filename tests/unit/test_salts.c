/* Hardness per gram: from the formula weights, worked out by hand beside each value. Conductivities at 25
 * degrees: Robinson & Stokes, Electrolyte Solutions, and Harned & Owen (equivalent conductances, here times
 * concentration); KCl also IUPAC / OIML R 56. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/salts.h"
#include "near.h"

static double ec(struct ions ions)
{
    double v = 0;
    assert_int_equal(ions_ec25(&ions, &v, NULL), STATUS_OK);
    return v;
}

static void formulas(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double gh, kh;
    } table[] = {
        { "CaCl2.2H2O", 1000 / 147.01 / 0.178326, 0 },
        { "CaSO4.2H2O", 1000 / 172.17 / 0.178326, 0 },
        { "MgSO4.7H2O", 1000 / 246.47 / 0.178326, 0 },
        { "MgCl2.6H2O", 1000 / 203.30 / 0.178326, 0 },
        { "KHCO3", 0, 1000 / 100.115 / 0.356652 },
        { "NaHCO3", 0, 1000 / 84.007 / 0.356652 },
        { "CaCO3", 1000 / 100.087 / 0.178326, 2000 / 100.087 / 0.356652 },
        { "K2SO4", 0, 0 },
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        const struct common_salt *salt = salts_find(table[i].name, NULL);
        assert_non_null(salt);
        struct salt_power p = salts_power(salt);
        near(p.gh_dh, table[i].gh, 0.0005 * table[i].gh);
        near(p.kh_dh, table[i].kh, 0.0005 * table[i].kh);
    }
    near(salts_power(salts_find("CaCl2.2H2O", NULL)).tds_mg_l, 1000 * 110.98 / 147.01, 0.2);
    near(salts_power(salts_find("KHCO3", NULL)).tds_mg_l, 1000, 0.2);
}

static void table_is_consistent(void **state)
{
    (void)state;
    for (size_t i = 0; salts_at(i) != NULL; i++) {
        struct ions ions = salts_ions(salts_at(i), 0.5);
        near(ions_balance(&ions), 0, 1e-12);
        assert_true(ions_tds(&ions) <= 500 * 1.63);
        assert_ptr_equal(salts_find(salts_at(i)->plain, NULL), salts_at(i));
    }
}

static void names(void **state)
{
    (void)state;
    struct why why;
    assert_ptr_equal(salts_find("cacl2·2h2o", NULL), salts_find("CaCl2.2H2O", NULL));
    assert_ptr_equal(salts_find("CaCl2 * 2 H2O", NULL), salts_find("CaCl2.2H2O", NULL));
    assert_null(salts_find("CaCl3", &why));
    assert_non_null(strstr(why.text, "CaCl2"));
    assert_string_equal(ion_name(ION_SO4), "so4");
}

static void published_conductivities(void **state)
{
    (void)state;
    near(ec((struct ions){ { [ION_K] = 1, [ION_CL] = 1 } }), 146.9, 0.01 * 146.9);
    near(ec((struct ions){ { [ION_K] = 10, [ION_CL] = 10 } }), 1412, 0.01 * 1412);
    near(ec((struct ions){ { [ION_NA] = 10, [ION_CL] = 10 } }), 1185, 0.01 * 1185);
    near(ec((struct ions){ { [ION_CA] = 2.5, [ION_CL] = 5 } }), 5 * 124.2, 0.015 * 5 * 124.2);
    near(ec((struct ions){ { [ION_CA] = 5, [ION_CL] = 10 } }), 10 * 120.4, 0.015 * 10 * 120.4);
    near(ec((struct ions){ { [ION_MG] = 5, [ION_CL] = 10 } }), 10 * 114.5, 0.03 * 10 * 114.5);
    near(ec((struct ions){ { [ION_NA] = 5, [ION_HCO3] = 5 } }), 5 * 90.5, 0.04 * 5 * 90.5);
    near(ec((struct ions){ { [ION_MG] = 0.5, [ION_SO4] = 0.5 } }), 115.5, 0.05 * 115.5);
    near(ec((struct ions){ { [ION_CA] = 0.5, [ION_SO4] = 0.5 } }), 115.3, 0.05 * 115.3);
    near(ec((struct ions){ { 0 } }), 0, 0);
}

static void pairs_and_strength_lower_it(void **state)
{
    (void)state;
    double one = ec((struct ions){ { [ION_MG] = 1, [ION_SO4] = 1 } });
    double ten = ec((struct ions){ { [ION_MG] = 10, [ION_SO4] = 10 } });
    assert_true(ten < 10 * one * 0.75);
    double last = 0;
    for (double c = 0.1; c < 50; c *= 1.5) {
        double now = ec((struct ions){ { [ION_CA] = c, [ION_SO4] = c } });
        assert_true(now > last);
        last = now;
    }
}

static void refusals(void **state)
{
    (void)state;
    struct why why;
    double v = 7;
    struct ions negative = { { [ION_NA] = -1 } };
    struct ions strong = { { [ION_NA] = 600, [ION_CL] = 600 } };
    struct ions unknown = { { [ION_NA] = (double)NAN } };
    assert_int_equal(ions_ec25(&negative, &v, &why), STATUS_INVALID);
    assert_int_equal(ions_ec25(&strong, &v, &why), STATUS_INVALID);
    assert_int_equal(ions_ec25(&unknown, &v, &why), STATUS_INVALID);
    assert_true(v == 7);
    struct ions lopsided = { { [ION_NA] = 3, [ION_CL] = 1 } };
    near(ions_balance(&lopsided), 0.5, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(formulas),
        cmocka_unit_test(table_is_consistent),
        cmocka_unit_test(names),
        cmocka_unit_test(published_conductivities),
        cmocka_unit_test(pairs_and_strength_lower_it),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
