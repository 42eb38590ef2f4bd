#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "near.h"

#include <math.h>

#include "rehearse/climate.h"

/* Without weather and windows only the clock moves the room. */
static struct climate calm(void)
{
    struct climate c = climate_init(1, 20);
    c.weather_sd_k = c.weather_k = c.window_a_day = 0;
    return c;
}

static void let_pass(struct climate *c, double from_h, double hours, bool lights)
{
    for (double h = 0; h < hours; h += 1 / 60.0)
        climate_advance(c, fmod(from_h + h, 24), lights, 60);
}

static void night_is_colder_by_the_setback(void **state)
{
    (void)state;
    struct climate c = calm();
    c.sun_k = 0;
    let_pass(&c, 7, 14, false);
    assert_near(c.temp_c, 20, 0.01);
    let_pass(&c, 22, 7.9, false);
    assert_near(c.temp_c, 20 - c.setback_k, 0.05);
}

static void sun_and_lights_warm(void **state)
{
    (void)state;
    struct climate lit = calm(), dark = calm();
    let_pass(&lit, 8, 8, true);
    let_pass(&dark, 8, 8, false);
    assert_near(lit.temp_c - dark.temp_c, lit.lights_k, 0.02);
    assert_true(dark.temp_c > 20.3);
}

static void a_push_moves_it_within_hours(void **state)
{
    (void)state;
    struct climate c = calm(), usual = calm();
    c.pushed_k = -9;
    let_pass(&c, 8, 1.5, false);
    let_pass(&usual, 8, 1.5, false);
    assert_near(c.temp_c - usual.temp_c, -9 * (1 - exp(-1)), 0.1);
    let_pass(&c, 9.5, 10, false);
    let_pass(&usual, 9.5, 10, false);
    assert_near(c.temp_c - usual.temp_c, -9, 0.05);
}

static void windows_open_by_day_only(void **state)
{
    (void)state;
    struct climate c = calm();
    c.window_a_day = 20;
    let_pass(&c, 22.1, 7.8, false);
    assert_true(c.window_left_s <= 0);
    bool opened = false;
    for (double h = 8; h < 20; h += 1 / 60.0) {
        climate_advance(&c, h, false, 60);
        opened = opened || c.window_left_s > 0;
    }
    assert_true(opened);
}

static void weather_keeps_its_spread(void **state)
{
    (void)state;
    struct climate c = climate_init(5, 20);
    double squares = 0;
    const int n = 40000;
    for (int i = 0; i < n; i++) {
        climate_advance(&c, 12, false, 600);
        squares += c.weather_k * c.weather_k;
    }
    assert_near(sqrt(squares / n), c.weather_sd_k, 0.12);
}

static void vapour_pressure_of_the_tables(void **state)
{
    (void)state;
    assert_near(climate_vapour_hpa(0), 6.11, 0.02);
    assert_near(climate_vapour_hpa(20), 23.39, 0.07);
    assert_near(climate_vapour_hpa(30), 42.46, 0.17);
}

static void an_open_window_cools_fast(void **state)
{
    (void)state;
    struct climate open = calm(), shut = calm();
    open.window_left_s = 3600;
    let_pass(&open, 12, 0.5, false);
    let_pass(&shut, 12, 0.5, false);
    assert_near(shut.temp_c - open.temp_c, open.window_k * (1 - exp(-0.5 / 0.4)), 0.25);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(night_is_colder_by_the_setback), cmocka_unit_test(sun_and_lights_warm),
        cmocka_unit_test(a_push_moves_it_within_hours),   cmocka_unit_test(windows_open_by_day_only),
        cmocka_unit_test(weather_keeps_its_spread),       cmocka_unit_test(vapour_pressure_of_the_tables),
        cmocka_unit_test(an_open_window_cools_fast),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
