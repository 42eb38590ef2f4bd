/* Derived values and the rules on them, through the engine. Expected numbers by hand from the formulas cited
 * in water/. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/derive.h"
#include "engine_tank.h"
#include "near.h"

static struct engine_tank w;

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static struct tank_report report(void)
{
    struct tank_report r;
    engine_report_tank(w.engine, 0, w.now, &r);
    return r;
}

static void nothing_from_nothing(void **state)
{
    (void)state;
    engine_tank_start(&w);
    struct tank_report r = report();
    for (int d = 0; d < DERIVED_COUNT; d++)
        assert_int_equal(r.derived[d].origin, ORIGIN_NONE);
    engine_tank_send(&w, TANK_PH, 7.0);
    r = report();
    for (int d = 0; d < DERIVED_COUNT; d++)
        assert_int_equal(r.derived[d].origin, ORIGIN_NONE);
}

/* The recipe has 330 uS/cm, GH 7.6, KH 4, solids 164: at 363 uS/cm all are a tenth more. */
static void hardness_by_the_recipe(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_EC, 363);
    struct tank_report r = report();
    assert_near(r.derived[DERIVED_GH_EST].value, 8.36, 1e-6);
    assert_near(r.derived[DERIVED_KH_EST].value, 4.4, 1e-6);
    assert_true(r.derived_sd[DERIVED_GH_EST] > 0.5 && r.derived_sd[DERIVED_GH_EST] < 1.5);
    assert_true(r.derived_sd[DERIVED_KH_EST] > 0.5);
    assert_near(r.derived[DERIVED_TDS].value, 180.4, 1e-6);
    assert_int_equal(r.tds_factor_from, TDS_FACTOR_RECIPE);
    assert_near(r.tds_factor, 164.0 / 330, 1e-9);
}

static void solids_by_the_waters_own_factor_or_the_usual(void **state)
{
    (void)state;
    w.water.tds_per_ec = 0.67;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_EC, 300);
    struct tank_report r = report();
    assert_near(r.derived[DERIVED_TDS].value, 201, 1e-6);
    assert_int_equal(r.tds_factor_from, TDS_FACTOR_WATER);
    double own_sd = r.derived_sd[DERIVED_TDS];
    w.water.tds_per_ec = NAN;
    w.water.recipe_count = 0;
    r = report();
    assert_near(r.derived[DERIVED_TDS].value, 192, 1e-6);
    assert_string_equal(tds_factor_name(r.tds_factor_from), "usual");
    assert_true(r.derived_sd[DERIVED_TDS] > 3 * own_sd);
    assert_int_equal(r.derived[DERIVED_GH_EST].origin, ORIGIN_NONE);
}

/* pH 7, KH 4, 25 degrees: the rule of thumb says 12 mg/L, off by -24..+12 %. */
static void carbon_dioxide(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_all(&w, 25, 330, 7.0);
    struct tank_report r = report();
    double by_recipe = r.derived[DERIVED_CO2].value;
    assert_true(by_recipe > 9 && by_recipe < 14);
    assert_true(r.derived_sd[DERIVED_CO2] > 0.15 * by_recipe);
    assert_int_equal(engine_tank_test(&w, Q_KH, 2.0, UTC_NONE), STATUS_OK);
    r = report();
    assert_int_equal(r.values[Q_KH].origin, ORIGIN_HAND);
    assert_near(r.derived[DERIVED_CO2].value, by_recipe / 2, 0.1);
    assert_int_equal(r.derived[DERIVED_CO2_SWING].origin, ORIGIN_NONE);
}

/* A day between pH 7.0 and 7.3: carbon dioxide halves. */
static void swing_over_the_day(void **state)
{
    (void)state;
    engine_tank_start(&w);
    for (int i = 0; i < 24 * 12; i++) {
        engine_tank_all(&w, 25, 330, i % 144 < 72 ? 7.0 : 7.30103);
        engine_tank_wait(&w, 5 * MS_PER_MIN);
    }
    struct tank_report r = report();
    const struct value_report *co2 = &r.derived[DERIVED_CO2];
    assert_near(co2->day_lo, co2->day_hi / 2, 0.02 * co2->day_hi);
    assert_near(r.derived[DERIVED_CO2_SWING].value, co2->day_hi - co2->day_lo, 1e-9);
}

static void weakest_input_tells_time_and_flag(void **state)
{
    (void)state;
    w.values[TANK_PH].gate.suspect_hi = 6.9;
    engine_tank_start(&w);
    utc_t first = w.now.utc;
    engine_tank_send(&w, TANK_TEMP, 25);
    engine_tank_wait(&w, 3 * MS_PER_MIN);
    engine_tank_send(&w, TANK_EC, 330);
    engine_tank_send(&w, TANK_PH, 7.0);
    struct tank_report r = report();
    assert_int_equal(r.derived[DERIVED_CO2].t.ms, first.ms);
    assert_int_equal(r.derived[DERIVED_CO2].flag, FLAG_SUSPECT);
    assert_true(r.derived[DERIVED_OXYGEN_SAT].flag != FLAG_SUSPECT);
    engine_tank_wait(&w, MS_PER_HOUR); /* all silent: still said, as stale */
    r = report();
    assert_true(r.derived[DERIVED_CO2].stale);
    engine_tank_wait(&w, 6 * MS_PER_HOUR); /* beyond sense */
    r = report();
    assert_int_equal(r.derived[DERIVED_CO2].origin, ORIGIN_NONE);
    assert_int_equal(r.derived[DERIVED_OXYGEN_SAT].origin, ORIGIN_NONE);
}

/* 8.26 mg/L at 25 degrees and 1013.25 hPa; at 1000 m (898.7 hPa) 0.883 of the dry air. */
static void oxygen_by_altitude(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_TEMP, 25);
    struct tank_report r = report();
    assert_near(r.derived[DERIVED_OXYGEN_SAT].value, 8.263, 0.01);
    w.site.altitude_m = 1000;
    r = report();
    assert_near(r.derived[DERIVED_OXYGEN_SAT].value, 7.30, 0.03);
}

static void warm_water_warns(void **state)
{
    (void)state;
    w.site.altitude_m = 1000;
    engine_tank_start(&w);
    for (int i = 0; i < 20; i++) {
        engine_tank_send(&w, TANK_TEMP, 30);
        engine_tank_wait(&w, MS_PER_MIN);
    }
    assert_false(engine_tank_alert(&w, "tank/a1/oxygen").active);
    for (int i = 0; i < 20; i++) {
        engine_tank_send(&w, TANK_TEMP, 30);
        engine_tank_wait(&w, MS_PER_MIN);
    }
    struct alert a = engine_tank_alert(&w, "tank/a1/oxygen");
    assert_true(a.active && a.value < 7.0 && a.value > 6.5);
    assert_non_null(strstr(a.evidence, "30.0 °C and 1000 m"));
    for (int i = 0; i < 80; i++) {
        engine_tank_send(&w, TANK_TEMP, 25);
        engine_tank_wait(&w, MS_PER_MIN);
    }
    assert_false(engine_tank_alert(&w, "tank/a1/oxygen").active);
}

/* Emerson: at 25 degrees and pH 8.0 5.38 % is un-ionised: of 0.5 mg/L 0.027. */
static void ammonia_after_a_test(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_all(&w, 25, 330, 8.0);
    assert_int_equal(engine_tank_test(&w, Q_TAN, 0.5, UTC_NONE), STATUS_OK);
    struct tank_report r = report();
    assert_near(r.derived[DERIVED_NH3].value, 0.0269, 0.0003);
    struct alert a = engine_tank_alert(&w, "tank/a1/ammonia");
    assert_true(a.active);
    assert_near(a.value, 0.0269, 0.0003);
    assert_non_null(strstr(a.evidence, "0.50 mg/L of total ammonia nitrogen at pH 8.00"));
    engine_tank_wait(&w, MS_PER_MIN);
    engine_tank_send(&w, TANK_PH, 7.0); /* a tenth of it */
    assert_false(engine_tank_alert(&w, "tank/a1/ammonia").active);
    engine_tank_wait(&w, 2 * MS_PER_DAY); /* the test is too old to be reckoned with */
    engine_tank_all(&w, 25, 330, 8.5);
    assert_int_equal(report().derived[DERIVED_NH3].origin, ORIGIN_NONE);
    assert_false(engine_tank_alert(&w, "tank/a1/ammonia").active);
}

/* Carbonate equilibrium at pH 8.3, KH 8, 80 mg/L of calcium, 25 degrees: scale can form. */
static void calcite_needs_calcium(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_all(&w, 25, 660, 8.3);
    assert_int_equal(report().derived[DERIVED_CALCITE_SI].origin, ORIGIN_NONE);
    assert_int_equal(engine_tank_test(&w, Q_CA, 80, UTC_NONE), STATUS_OK);
    struct tank_report r = report();
    assert_true(r.derived[DERIVED_CALCITE_SI].value > 0.6 && r.derived[DERIVED_CALCITE_SI].value < 1.4);
    assert_true(r.derived_sd[DERIVED_CALCITE_SI] > 0.1);
}

static double ec_shown(void)
{
    struct probe_report r;
    engine_report_probe(w.engine, TANK_EC, w.now, &r);
    return r.last_value;
}

/* An EC probe that does not compensate takes a fresh temperature: of the twin when the first is silent or
 * stands still, of none when all are too old. */
static void compensated_with_a_fresh_temperature(void **state)
{
    (void)state;
    w.values[TANK_EC].compensated = false;
    w.values[TANK_EC].alpha = 0.02;
    w.values[TANK_PH] = w.values[TANK_TEMP]; /* a second thermometer */
    w.values[TANK_TEMP].gate.flat_tol = 0.01;
    w.values[TANK_TEMP].gate.flat_suspect_s = 600;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_TEMP, 20);
    engine_tank_send(&w, TANK_PH, 30);
    engine_tank_send(&w, TANK_EC, 300);
    assert_near(ec_shown(), 300 / 0.9, 1e-6);
    for (int i = 0; i < 20; i++) {
        engine_tank_wait(&w, 60000);
        engine_tank_send(&w, TANK_TEMP, 20); /* stands still: suspect */
        engine_tank_send(&w, TANK_PH, 30 + 0.1 * (i % 3));
    }
    engine_tank_send(&w, TANK_EC, 300);
    assert_near(ec_shown(), 300 / 1.102, 1e-6);
    engine_tank_wait(&w, 25 * MS_PER_MIN);
    engine_tank_send(&w, TANK_TEMP, 21);
    engine_tank_wait(&w, 10 * MS_PER_MIN); /* the twin is too old by now */
    engine_tank_send(&w, TANK_EC, 300);
    assert_near(ec_shown(), 300 / 0.92, 1e-6);
    for (int i = 0; i < 12; i++) { /* nothing fresh: not known, and not shown */
        engine_tank_wait(&w, 5 * MS_PER_MIN);
        engine_tank_send(&w, TANK_EC, 330);
    }
    assert_near(ec_shown(), 300 / 0.92, 1e-6);
    struct alert a = engine_tank_alert(&w, "tank/a1/ec-silent");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "no fresh temperature to compensate it with"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(nothing_from_nothing),
        TEST(hardness_by_the_recipe),
        TEST(solids_by_the_waters_own_factor_or_the_usual),
        TEST(carbon_dioxide),
        TEST(swing_over_the_day),
        TEST(weakest_input_tells_time_and_flag),
        TEST(oxygen_by_altitude),
        TEST(warm_water_warns),
        TEST(ammonia_after_a_test),
        TEST(calcite_needs_calcium),
        TEST(compensated_with_a_fresh_temperature),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
