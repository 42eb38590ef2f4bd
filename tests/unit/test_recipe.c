#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>
#include "model/recipe.h"
#include "near.h"
#include "water/salts.h"

static struct salt salts[] = {
    { .id = "cacl2", .composition = "CaCl2.2H2O", .gh = NAN, .kh = NAN, .ec = NAN, .tds = NAN },
    { .id = "epsom", .composition = "MgSO4.7H2O", .gh = NAN, .kh = NAN, .ec = NAN, .tds = NAN },
    { .id = "mix", .gh = 38, .kh = 10, .ec = 1650, .tds = 820 },
};

static struct recipe_part pure[] = { { 0, 0.090 }, { 1, 0.075 } };
static struct recipe_part jar[] = { { 2, 0.2 } };
static struct recipe_part unweighed[] = { { 2, NAN } };

static struct water waters[3];

static struct site site_of(void)
{
    for (int i = 0; i < 3; i++)
        for (int q = 0; q < Q_COUNT; q++)
            waters[i].target[q] = NAN;
    waters[0].recipe = pure;
    waters[0].recipe_count = 2;
    waters[1].recipe = jar;
    waters[1].recipe_count = 1;
    waters[2].recipe = unweighed;
    waters[2].recipe_count = 1;
    return (struct site){ .salts = salts, .salt_count = 3, .waters = waters, .water_count = 3 };
}

/* 0.090 g/L of CaCl2.2H2O are 0.6122 mmol/L, 0.075 g/L of MgSO4.7H2O 0.3043: 0.9165 / 0.178326 = 5.139 dH. */
static void pure_salts_by_their_ions(void **state)
{
    (void)state;
    struct site site = site_of();
    struct recipe_water w;
    assert_int_equal(recipe_eval(&site, 0, 1.0, &w), STATUS_OK);
    assert_near(w.gh_dh, 5.139, 0.01);
    assert_near(w.kh_dh, 0, 1e-9);
    assert_true(w.ec_us_cm > 200 && w.ec_us_cm < 250);
    assert_false(w.by_targets);
    struct recipe_water twice;
    assert_int_equal(recipe_eval(&site, 0, 2.0, &twice), STATUS_OK);
    assert_near(twice.gh_dh, 2 * w.gh_dh, 1e-9);
    assert_true(twice.ec_us_cm < 2 * w.ec_us_cm); /* ions in company conduct less */
}

static void strength_is_the_inverse(void **state)
{
    (void)state;
    struct site site = site_of();
    for (double k = 0.2; k < 5; k *= 1.7)
        for (int water = 0; water < 2; water++) {
            struct recipe_water w;
            double back;
            assert_int_equal(recipe_eval(&site, water, k, &w), STATUS_OK);
            assert_int_equal(recipe_strength(&site, water, w.ec_us_cm, &back), STATUS_OK);
            assert_near(back, k, 1e-4 * k);
        }
}

static void the_jar_counts(void **state)
{
    (void)state;
    struct site site = site_of();
    struct recipe_water w;
    assert_int_equal(recipe_eval(&site, 1, 1.0, &w), STATUS_OK);
    assert_near(w.ec_us_cm, 330, 1e-9);
    assert_near(w.gh_dh, 7.6, 1e-9);
    assert_near(w.kh_dh, 2, 1e-9);
    assert_near(w.tds_mg_l, 164, 1e-9);
    salts[0].ec = 1500; /* learnt, not what the composition says at 1 g/L */
    assert_int_equal(recipe_eval(&site, 0, 1.0, &w), STATUS_OK);
    assert_true(w.ec_us_cm > 135);
    salts[0].ec = NAN;
}

static void targets_stand_in_or_nothing(void **state)
{
    (void)state;
    struct site site = site_of();
    struct recipe_water w;
    double k;
    assert_int_equal(recipe_eval(&site, 2, 1.0, &w), STATUS_NONE);
    waters[2].target[Q_EC] = 300;
    waters[2].target[Q_GH] = 6;
    waters[2].target[Q_KH] = 1;
    assert_int_equal(recipe_strength(&site, 2, 330, &k), STATUS_OK);
    assert_near(k, 1.1, 1e-9);
    assert_int_equal(recipe_eval(&site, 2, k, &w), STATUS_OK);
    assert_true(w.by_targets && isnan(w.tds_mg_l));
    assert_near(w.gh_dh, 6.6, 1e-9);
    assert_int_equal(recipe_strength(&site, 2, 300 * 50.0, &k), STATUS_REFUSED);
    assert_int_equal(recipe_strength(&site, 2, 0, &k), STATUS_REFUSED);
    assert_int_equal(recipe_eval(&site, -1, 1.0, &w), STATUS_NONE);
    assert_int_equal(recipe_eval(&site, 0, -1.0, &w), STATUS_NONE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pure_salts_by_their_ions),
        cmocka_unit_test(strength_is_the_inverse),
        cmocka_unit_test(the_jar_counts),
        cmocka_unit_test(targets_stand_in_or_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
