/* Batches worked by hand from the numbers on the jar; composition from formula weights. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/mix.h"
#include "plan_room.h"

static const struct mix_source pure;
static struct why why;

static void recipe_with_amounts(void **state)
{
    (void)state;
    struct mix_plan p;
    assert_int_equal(mix_eval(&site, 0, 60, &pure, &p, NULL), STATUS_OK);
    assert_int_equal(p.count, 1);
    near(p.parts[0].grams, 9, 1e-9);
    assert_true(p.parts[0].short_of_stock); /* 5 g in the cupboard */
    near(p.gh_dh, 4.5, 1e-9);
    near(p.kh_dh, 0.3, 1e-9);
    near(p.ec_us_cm, 195, 1e-9);
    near(p.ec_off, 5, 1e-9);
    near(p.tds_mg_l, 120, 1e-9);
    assert_false(p.ec_doubtful);
    waters[0].target[Q_EC] = 150;
    assert_int_equal(mix_eval(&site, 0, 60, &pure, &p, NULL), STATUS_OK);
    assert_true(p.ec_doubtful);
}

static void recipe_solved_for_targets(void **state)
{
    (void)state;
    struct mix_plan p;
    assert_int_equal(mix_eval(&site, 1, 10, &pure, &p, NULL), STATUS_OK);
    assert_int_equal(p.count, 2);
    near(p.gh_dh, 8, 1e-9);
    near(p.kh_dh, 4, 1e-9);
    near(p.parts[0].grams, 80 / 30.0, 1e-9);
    /* KHCO3 adds 1000/100.114/0.356652 = 28.006 dH per g/L. */
    near(p.parts[1].grams, (40 - 2 * 80 / 30.0) / 28.006, 0.001);
    assert_true(p.ec_us_cm > 0.2667 * 1300 + 100 && p.ec_us_cm < 0.2667 * 1300 + 160);
    struct mix_source tap = { 200, 3, 2, 0 };
    assert_int_equal(mix_eval(&site, 1, 10, &tap, &p, NULL), STATUS_OK);
    near(p.gh_dh, 8, 1e-9);
    near(p.parts[0].grams, 50 / 30.0, 1e-9);
}

static void all_salts_when_there_is_no_recipe(void **state)
{
    (void)state;
    struct mix_plan p;
    waters[2].target[Q_GH] = 6;
    waters[2].target[Q_KH] = 1;
    assert_int_equal(mix_eval(&site, 2, 20, &pure, &p, NULL), STATUS_OK);
    near(p.gh_dh, 6, 1e-6);
    near(p.kh_dh, 1, 1e-6);
}

static void composition_counts_by_its_ions(void **state)
{
    (void)state;
    /* 0.1 g/L of KHCO3, 1 mmol/L: 117 (limiting conductivities 73.5 + 44.5) less some 2 %. */
    struct recipe_part only_soda[] = { { 1, 0.1 } };
    struct mix_plan p;
    waters[2].recipe = only_soda;
    waters[2].recipe_count = 1;
    assert_int_equal(mix_eval(&site, 2, 10, &pure, &p, NULL), STATUS_OK);
    near(p.ec_us_cm, 115, 3);
    salts[1].ec = 1500; /* learnt from batches: that counts instead */
    assert_int_equal(mix_eval(&site, 2, 10, &pure, &p, NULL), STATUS_OK);
    near(p.ec_us_cm, 150, 1e-9);
    waters[2].recipe_count = 0;
}

/* "soft" has 4.5 GH and 0.3 KH by one salt that carries both: tap is taken off by its KH. Soda and gypsum
 * apart: each by its own hardness, in proportion. */
static void what_the_source_brings_is_taken_off(void **state)
{
    (void)state;
    struct recipe_part both[] = { { 1, 0.1 }, { 2, 0.1 } };
    struct mix_plan from_pure, p;
    struct mix_source tap = { 150, 1.5, 1.0, 0.25 };
    waters[2].recipe = both;
    waters[2].recipe_count = 2;
    assert_int_equal(mix_eval(&site, 2, 10, &pure, &from_pure, NULL), STATUS_OK);
    assert_int_equal(mix_eval(&site, 2, 10, &tap, &p, &why), STATUS_OK);
    near(p.gh_dh, from_pure.gh_dh, 1e-9);
    near(p.kh_dh, from_pure.kh_dh, 1e-9);
    near(p.parts[0].grams / from_pure.parts[0].grams, 1 - 1.0 / from_pure.kh_dh, 1e-9);
    near(p.parts[1].grams / from_pure.parts[1].grams, 1 - 1.5 / from_pure.gh_dh, 1e-9);
    assert_true(isnan(p.tds_mg_l)); /* of the tap's own nothing is known */
    waters[2].recipe_count = 0;
}

static void too_hard_a_source_is_refused(void **state)
{
    (void)state;
    struct recipe_part both[] = { { 1, 0.1 }, { 2, 0.1 } };
    struct mix_plan p;
    waters[2].recipe = both;
    waters[2].recipe_count = 2; /* KH 2.8, GH 3.3 */
    struct mix_source tap = { 600, 5, 8.4, 0.5 };
    assert_int_equal(mix_eval(&site, 2, 10, &tap, &p, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "at most 16 % may be hard"));
    tap.kh_dh = 3.2; /* within half a degree: let be */
    tap.gh_dh = 1;
    assert_int_equal(mix_eval(&site, 2, 10, &tap, &p, &why), STATUS_OK);
    near(p.kh_dh, 3.2, 1e-9);
    waters[2].drift[Q_KH] = 0.2; /* the water says how far it may be off */
    assert_int_equal(mix_eval(&site, 2, 10, &tap, &p, &why), STATUS_REFUSED);
    waters[2].recipe_count = 0;
    waters[2].drift[Q_KH] = NAN;
}

static void unknown_ec_stays_unknown(void **state)
{
    (void)state;
    struct mix_plan p;
    double ec = salts[0].ec;
    salts[0].ec = (double)NAN;
    assert_int_equal(mix_eval(&site, 0, 60, &pure, &p, NULL), STATUS_OK);
    assert_true(isnan(p.ec_us_cm) && isnan(p.ec_off));
    assert_false(p.ec_doubtful);
    salts[0].ec = ec;
}

static void refusals(void **state)
{
    (void)state;
    struct mix_plan p;
    assert_int_equal(mix_eval(&site, 3, 60, &pure, &p, &why), STATUS_INVALID);
    assert_int_equal(mix_eval(&site, -1, 60, &pure, &p, &why), STATUS_INVALID);
    assert_int_equal(mix_eval(&site, 0, 0, &pure, &p, &why), STATUS_INVALID);
    assert_int_equal(mix_eval(&site, 0, 1e6, &pure, &p, &why), STATUS_INVALID);
    assert_int_equal(mix_eval(&site, 2, 10, &pure, &p, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "neither"));
    struct mix_source hard = { 900, 20, 10, 0 };
    assert_int_equal(mix_eval(&site, 1, 10, &hard, &p, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "only add"));
    waters[2].target[Q_GH] = waters[2].target[Q_KH] = 3;
    site.salt_count = 0;
    assert_int_equal(mix_eval(&site, 2, 10, &pure, &p, &why), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(recipe_with_amounts, build),
        cmocka_unit_test_setup(recipe_solved_for_targets, build),
        cmocka_unit_test_setup(all_salts_when_there_is_no_recipe, build),
        cmocka_unit_test_setup(composition_counts_by_its_ions, build),
        cmocka_unit_test_setup(what_the_source_brings_is_taken_off, build),
        cmocka_unit_test_setup(too_hard_a_source_is_refused, build),
        cmocka_unit_test_setup(unknown_ec_stays_unknown, build),
        cmocka_unit_test_setup(refusals, build),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
