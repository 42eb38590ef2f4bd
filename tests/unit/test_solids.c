/* Made-up tanks of 300 uS/cm, one value a minute with some noise, and what each of the causes looks like on
 * them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "engine/solids.h"

#define T0      INT64_C(1772323200000)
#define DAYS(n) ((int)((n)*1440))

struct water_tank {
    struct arena arena;
    struct window ec_day, ec_days, level_day, level_days;
    struct solids solids;
    struct solids_view view;
    int minute;
    int steps;
    enum solids_cause cause;
};

static struct water_tank tank;

static int make(void **state)
{
    (void)state;
    memset(&tank, 0, sizeof tank);
    window_init(&tank.ec_day, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &tank.arena);
    window_init(&tank.ec_days, MS_PER_HOUR, 21 * MS_PER_DAY, &tank.arena);
    window_init(&tank.level_day, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &tank.arena);
    window_init(&tank.level_days, MS_PER_HOUR, 21 * MS_PER_DAY, &tank.arena);
    solids_init(&tank.solids);
    tank.view = (struct solids_view){ &tank.ec_day, &tank.ec_days, &tank.level_day, &tank.level_days, false };
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    arena_fini(&tank.arena);
    return 0;
}

/* Repeatable noise between -1 and 1. */
static double noise(int i)
{
    uint32_t x = (uint32_t)i * 2654435761u;
    x ^= x >> 15;
    x *= 2246822519u;
    x ^= x >> 13;
    return (double)x / 2147483648.0 - 1.0;
}

/* Lives on for so many minutes; both change by so much a minute. */
static void live(int minutes, double *ec, double ec_minute, double *level, double level_minute)
{
    for (int i = 0; i < minutes; i++, tank.minute++) {
        utc_t now = { T0 + tank.minute * MS_PER_MIN };
        *ec += ec_minute;
        *level += level_minute;
        window_add(&tank.ec_day, now, *ec + 2 * noise(tank.minute));
        window_add(&tank.ec_days, now, *ec + 2 * noise(tank.minute));
        window_add(&tank.level_day, now, *level + 0.3 * noise(tank.minute + 7));
        window_add(&tank.level_days, now, *level + 0.3 * noise(tank.minute + 7));
        if (tank.minute % 10 != 0)
            continue;
        tank.steps += solids_look(&tank.solids, &tank.view, now);
        tank.cause = solids_judge(&tank.solids, &tank.view, now);
    }
}

static void a_quiet_tank_is_fine(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(4), &ec, 0, &level, 0);
    assert_int_equal(tank.steps, 0);
    assert_int_equal(tank.cause, SOLIDS_FINE);
}

static void a_water_change_is_one_step(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(1), &ec, 0, &level, 0);
    ec = 280;
    live(DAYS(0.5), &ec, 0, &level, 0);
    assert_int_equal(tank.steps, 1);
    const struct solids_step *step = solids_last_step(&tank.solids);
    assert_true(fabs(step->before - 300) < 2 && fabs(step->after - 280) < 2);
}

static void a_climb_with_falling_level_is_a_stopped_topoff(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 4.0 / 1440, &level, -2.5 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

static void a_slow_climb_with_level_held_is_minerals(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 3.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
}

static void a_fast_climb_with_level_held_is_waste(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(2), &ec, 20.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    assert_true(fabs(tank.solids.slope_day - 20) < 2);
}

static void a_climb_between_both_is_a_drifting_probe(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 7.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
}

static void falling_hour_after_hour_is_a_topoff_running_over(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(240, &ec, -9.0 / 60, &level, 7.0 / 60);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_OVER);
}

static void level_falling_alone_is_a_leak(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(180, &ec, 0, &level, -5.0 / 60);
    assert_int_equal(tank.cause, SOLIDS_LEAK);
}

static void nothing_measured_is_not_judged(void **state)
{
    (void)state;
    struct solids_view view = { 0 };
    assert_false(solids_look(&tank.solids, &view, (utc_t){ T0 }));
    assert_int_equal(solids_judge(&tank.solids, &view, (utc_t){ T0 }), SOLIDS_UNKNOWN);
}

static void state_comes_back_and_damage_is_refused(void **state)
{
    (void)state;
    static uint8_t bytes[1024];
    double ec = 300, level = 250;
    live(DAYS(1), &ec, 0, &level, 0);
    ec = 280;
    live(300, &ec, 0, &level, 0);
    struct pack w = pack_writer(bytes, sizeof bytes);
    solids_visit(&tank.solids, &w);
    struct solids back;
    solids_init(&back);
    struct pack r = pack_reader(bytes, w.at);
    solids_visit(&back, &r);
    assert_false(r.bad);
    assert_true(solids_last_step(&back)->after == solids_last_step(&tank.solids)->after);
    memset(bytes, 0x7f, 4); /* the number of steps */
    r = pack_reader(bytes, w.at);
    solids_visit(&back, &r);
    assert_true(r.bad);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = { CASE(a_quiet_tank_is_fine),
                                        CASE(a_water_change_is_one_step),
                                        CASE(a_climb_with_falling_level_is_a_stopped_topoff),
                                        CASE(a_slow_climb_with_level_held_is_minerals),
                                        CASE(a_fast_climb_with_level_held_is_waste),
                                        CASE(a_climb_between_both_is_a_drifting_probe),
                                        CASE(falling_hour_after_hour_is_a_topoff_running_over),
                                        CASE(level_falling_alone_is_a_leak),
                                        CASE(nothing_measured_is_not_judged),
                                        CASE(state_comes_back_and_damage_is_refused) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
