#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "near.h"

#include <math.h>

#include "rehearse/basin.h"

/* Saturated air as warm as the water takes nothing. */
static struct basin_world still(double air_c)
{
    return (struct basin_world){ .air_c = air_c, .humidity = 1, .heater_gain = 1 };
}

static struct basin tank(double temp_c, double heater_w)
{
    struct basin b = basin_init(30, false, temp_c, 300, heater_w, 24);
    b.cover = 0; /* heat alone */
    return b;
}

static double solids(const struct basin *b)
{
    return b->mineral_us_l + b->waste_us_l;
}

static void cools_along_the_exponential(void **state)
{
    (void)state;
    struct basin b = tank(26, 0);
    struct basin_world w = still(18);
    double tau_h = basin_tau_h(&b);
    assert_true(tau_h > 3 && tau_h < 12);
    basin_advance(&b, &w, 5 * 3600);
    assert_near(b.temp_c, 18 + 8 * exp(-5 / tau_h), 1e-9);
}

static void settles_where_heat_balances(void **state)
{
    (void)state;
    struct basin b = tank(20, 20);
    struct basin_world w = still(18);
    w.heater_forced = true;
    basin_advance(&b, &w, 200 * 3600);
    double by_tau = 18 + 20 * basin_tau_h(&b) * 3600 / basin_capacity_j_k(&b);
    assert_near(b.temp_c, by_tau, 1e-6);
    assert_near(b.power_w, 20, 0);
}

static void any_step_is_stable_and_the_same(void **state)
{
    (void)state;
    struct basin once = tank(24, 0), often = tank(24, 0);
    struct basin_world w = still(15);
    basin_advance(&once, &w, 30 * 86400);
    for (int i = 0; i < 30 * 24; i++)
        basin_advance(&often, &w, 3600);
    assert_near(once.temp_c, often.temp_c, 1e-9);
    assert_near(once.temp_c, 15, 1e-6);
    basin_advance(&once, &w, 0);
    assert_near(once.temp_c, 15, 1e-6);
}

static void thermostat_stays_in_its_play(void **state)
{
    (void)state;
    struct basin b = tank(24, 100);
    struct basin_world w = still(18);
    bool went_off = false, went_on = false;
    for (int i = 0; i < 6 * 3600; i += 10) {
        basin_advance(&b, &w, 10);
        assert_true(b.temp_c > 24 - b.hysteresis_k / 2 - 0.02 && b.temp_c < 24 + b.hysteresis_k / 2 + 0.02);
        went_on = went_on || b.power_w > 0;
        went_off = went_off || (went_on && b.power_w <= 0);
    }
    assert_true(went_on && went_off);
}

static void dead_weak_and_stuck_heaters(void **state)
{
    (void)state;
    struct basin dead = tank(24, 100), weak = tank(24, 100), stuck = tank(24, 100);
    struct basin_world none = still(18), part = still(18), forced = still(18);
    none.heater_gain = 0;
    part.heater_gain = 0.1;
    forced.heater_forced = true;
    basin_advance(&dead, &none, 100 * 3600);
    basin_advance(&weak, &part, 100 * 3600);
    basin_advance(&stuck, &forced, 100 * 3600);
    assert_near(dead.temp_c, 18, 1e-3);
    assert_near(weak.temp_c, 18 + 10 / weak.loss_w_k, 1e-3);
    assert_near(stuck.temp_c, 18 + 100 / stuck.loss_w_k, 1e-3);
}

static void vapour_leaves_the_solids(void **state)
{
    (void)state;
    struct basin b = basin_init(30, false, 24, 300, 0, 24);
    struct basin_world w = { .air_c = 24, .humidity = 0.5 };
    double before = solids(&b), litres = b.water_l;
    basin_advance(&b, &w, 5 * 86400);
    double gone = litres - b.water_l;
    assert_true(gone > 0.02 * 30 && gone < 0.15 * 30);
    assert_near(solids(&b), before, 1e-6);
    assert_near(basin_ec25(&b), 300 * litres / b.water_l, 1e-6);
    assert_true(basin_level_mm(&b) < litres / b.surface_m2);
}

static void a_lid_and_damp_air_slow_it(void **state)
{
    (void)state;
    struct basin open = basin_init(30, false, 24, 300, 0, 24), closed = basin_init(30, true, 24, 300, 0, 24);
    struct basin_world dry = { .air_c = 20, .humidity = 0.3 }, damp = { .air_c = 20, .humidity = 0.8 };
    assert_true(basin_evaporation_l_h(&closed, &dry) < 0.3 * basin_evaporation_l_h(&open, &dry));
    assert_true(basin_evaporation_l_h(&open, &damp) < basin_evaporation_l_h(&open, &dry));
    struct basin_world hot_and_wet = { .air_c = 35, .humidity = 1 };
    assert_near(basin_evaporation_l_h(&open, &hot_and_wet), 0, 0);
}

static void a_water_change_balances(void **state)
{
    (void)state;
    struct basin b = basin_init(30, true, 24, 400, 0, 24);
    double j_k = basin_capacity_j_k(&b);
    assert_near(basin_draw(&b, 6), 6, 0);
    assert_near(basin_ec25(&b), 400, 1e-9);
    assert_near(b.temp_c, 24, 0);
    double left_j_k = basin_capacity_j_k(&b);
    basin_fill(&b, 6, 200, 20);
    assert_near(b.water_l, 30, 1e-12);
    assert_near(basin_ec25(&b), 400 + 0.2 * (200 - 400), 1e-9);
    assert_near(b.temp_c * j_k, 24 * left_j_k + 20 * (j_k - left_j_k), 1e-6 * j_k);
}

static void what_does_not_fit_runs_over(void **state)
{
    (void)state;
    struct basin b = basin_init(30, true, 24, 300, 0, 24);
    basin_fill(&b, 30, 0, 24);
    assert_near(b.water_l, 1.06 * 30, 1e-9);
    assert_near(basin_ec25(&b), 150, 1e-9);
}

static void the_tank_is_never_drawn_dry(void **state)
{
    (void)state;
    struct basin b = basin_init(30, true, 24, 300, 0, 24);
    assert_near(basin_draw(&b, 100), 0.95 * 30, 1e-9);
    assert_near(basin_draw(&b, 1), 0, 1e-9);
    struct basin_world w = still(20);
    w.leak_l_h = 5;
    basin_advance(&b, &w, 86400);
    assert_true(b.water_l > 1.4 && isfinite(basin_ec25(&b)) && isfinite(b.temp_c));
}

static void the_float_holds_level_and_solids(void **state)
{
    (void)state;
    struct basin b = basin_init(30, false, 24, 300, 0, 24);
    struct basin_world w = { .air_c = 22, .humidity = 0.4, .topoff_l_h = 0.2, .topoff_ec = 0 };
    basin_advance(&b, &w, 10 * 86400);
    assert_near(b.water_l, 30, 0.12);
    assert_near(basin_ec25(&b), 300, 1.5);
    w.topoff_ec = 350;
    basin_advance(&b, &w, 10 * 86400);
    assert_true(basin_ec25(&b) > 315);
    assert_near(b.water_l, 30, 0.12);
}

static void overrun_leak_and_waste(void **state)
{
    (void)state;
    struct basin over = basin_init(30, true, 24, 300, 0, 24), leak = over, foul = over;
    over.cover = leak.cover = foul.cover = 0;
    struct basin_world w = still(24);
    w.overrun_l_h = 1;
    basin_advance(&over, &w, 6 * 3600);
    assert_near(over.water_l, 1.06 * 30, 0.01);
    assert_true(basin_ec25(&over) < 260);
    w = still(24);
    w.leak_l_h = 0.5;
    basin_advance(&leak, &w, 6 * 3600);
    assert_near(leak.water_l, 27, 1e-6);
    assert_near(basin_ec25(&leak), 300, 1e-6);
    w = still(24);
    w.waste_us_day = 20;
    double ph = basin_ph(&foul);
    basin_advance(&foul, &w, 2 * 86400);
    assert_near(basin_ec25(&foul), 340, 1e-6);
    assert_true(basin_ph(&foul) < ph);
}

static void ph_rises_in_the_light(void **state)
{
    (void)state;
    struct basin b = basin_init(30, true, 24, 300, 0, 24);
    struct basin_world day = still(24), night = still(24);
    day.lights_on = true;
    basin_advance(&b, &day, 10 * 3600);
    double lit = basin_ph(&b);
    basin_advance(&b, &night, 10 * 3600);
    assert_near(lit - basin_ph(&b), 2 * b.ph_swing, 0.05);
}

static void lamps_warm_the_water(void **state)
{
    (void)state;
    struct basin b = tank(20, 0);
    struct basin_world w = still(18);
    w.lights_on = true;
    w.light_w = 3;
    basin_advance(&b, &w, 200 * 3600);
    assert_near(b.temp_c, 18 + 3 / b.loss_w_k, 1e-6);
}

static void the_float_has_play(void **state)
{
    (void)state;
    struct basin b = tank(24, 0);
    struct basin_world w = still(24);
    w.topoff_l_h = 1;
    b.water_l = 29.95;
    basin_advance(&b, &w, 3600);
    assert_near(b.water_l, 29.95, 0);
    b.water_l = 29.90;
    basin_advance(&b, &w, 3600);
    assert_near(b.water_l, 30, 0.01);
    assert_false(b.topping);
}

static void a_change_takes_waste_too(void **state)
{
    (void)state;
    struct basin b = tank(24, 0);
    b.waste_us_l = 60 * 30;
    (void)basin_draw(&b, 15);
    basin_fill(&b, 15, 300, 24);
    assert_near(b.waste_us_l, 30 * 30, 1e-9);
    assert_near(basin_ec25(&b), 330, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cools_along_the_exponential),
        cmocka_unit_test(settles_where_heat_balances),
        cmocka_unit_test(any_step_is_stable_and_the_same),
        cmocka_unit_test(thermostat_stays_in_its_play),
        cmocka_unit_test(dead_weak_and_stuck_heaters),
        cmocka_unit_test(vapour_leaves_the_solids),
        cmocka_unit_test(a_lid_and_damp_air_slow_it),
        cmocka_unit_test(a_water_change_balances),
        cmocka_unit_test(what_does_not_fit_runs_over),
        cmocka_unit_test(the_tank_is_never_drawn_dry),
        cmocka_unit_test(the_float_holds_level_and_solids),
        cmocka_unit_test(overrun_leak_and_waste),
        cmocka_unit_test(ph_rises_in_the_light),
        cmocka_unit_test(lamps_warm_the_water),
        cmocka_unit_test(the_float_has_play),
        cmocka_unit_test(a_change_takes_waste_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
