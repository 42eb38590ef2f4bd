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
    struct window ec_day, ec_days, temp_day, temp_days, level_day, level_days;
    struct solids solids;
    struct solids_view view;
    int minute;
    int steps;
    double temp_share;      /* what the probe lacks in compensation, per kelvin */
    double swing_c;         /* of the thermostat, to either side */
    double wanders, wander; /* what the probe does from hour to hour */
    enum solids_cause cause;
};

static struct water_tank tank;

static int make(void **state)
{
    (void)state;
    memset(&tank, 0, sizeof tank);
    window_init(&tank.ec_day, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &tank.arena);
    window_init(&tank.ec_days, MS_PER_HOUR, 21 * MS_PER_DAY, &tank.arena);
    window_init(&tank.temp_day, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &tank.arena);
    window_init(&tank.temp_days, MS_PER_HOUR, 21 * MS_PER_DAY, &tank.arena);
    window_init(&tank.level_day, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &tank.arena);
    window_init(&tank.level_days, MS_PER_HOUR, 21 * MS_PER_DAY, &tank.arena);
    solids_init(&tank.solids);
    tank.view = (struct solids_view){ .ec_day = &tank.ec_day,
                                      .ec_days = &tank.ec_days,
                                      .temp_day = &tank.temp_day,
                                      .temp_days = &tank.temp_days,
                                      .level_day = &tank.level_day,
                                      .level_days = &tank.level_days,
                                      .volume_l = 30,
                                      .room_c = 20,
                                      .air = NAN,
                                      .change_share = 0.15,
                                      .target_ec = NAN,
                                      .ec_drift = NAN,
                                      .ec_hi = 400 };
    tank.swing_c = 0.3;
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

static void see(double ec, double level)
{
    utc_t now = { T0 + tank.minute * MS_PER_MIN };
    double warmer = tank.swing_c * sin(tank.minute / 15.0);
    tank.wander += tank.wanders * noise(tank.minute + 99) - tank.wander / 60;
    double sent = ec * (1 + tank.temp_share * warmer) + 2 * noise(tank.minute) + tank.wander;
    window_add(&tank.ec_day, now, sent);
    window_add(&tank.ec_days, now, sent);
    window_add(&tank.temp_day, now, 23 + warmer);
    window_add(&tank.temp_days, now, 23 + warmer);
    window_add(&tank.level_day, now, level + 0.3 * noise(tank.minute + 7));
    window_add(&tank.level_days, now, level + 0.3 * noise(tank.minute + 7));
}

/* Lives on for so many minutes; both change by so much a minute. */
static void live(int minutes, double *ec, double ec_minute, double *level, double level_minute)
{
    for (int i = 0; i < minutes; i++, tank.minute++) {
        utc_t now = { T0 + tank.minute * MS_PER_MIN };
        *ec += ec_minute;
        *level += level_minute;
        see(*ec, *level);
        if (tank.minute % 10 != 0)
            continue;
        if (tank.minute % 60 == 0)
            solids_learn(&tank.solids, &tank.view, now);
        tank.steps += solids_look(&tank.solids, &tank.view, now);
        tank.cause = solids_judge(&tank.solids, &tank.view, now);
    }
}

/* A slow filling up, by a drip: new to the tank's conductivity, but it ends at the level that it always has.
 */
static void filling_up_to_where_it_always_was_is_no_overflow(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(6), &ec, 0, &level, 0);
    live(60, &ec, 0, &level, -14.0 / 60); /* drawn off for other tanks */
    live(DAYS(1), &ec, 0, &level, 0);
    for (int i = 0; i < 12; i++) {
        live(10, &ec, -0.13, &level, 14.0 / 120);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_OVER);
    }
    for (int i = 0; i < 24 && tank.cause != SOLIDS_TOPOFF_OVER; i++)
        live(10, &ec, -0.13, &level, 14.0 / 120);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_OVER); /* and on beyond */
}

/* A tank that evaporates and is topped off by hand every so many days. */
static void live_by_hand(int days, int every, double *ec, double *level)
{
    for (int day = 0; day < days; day++) {
        live(DAYS(1), ec, 3.0 / 1440, level, -2.0 / 1440);
        if (day % every == every - 1) {
            *ec -= 3.0 * every;
            *level += 2.0 * every;
        }
    }
}

static void without_level(void)
{
    tank.view.level_day = tank.view.level_days = NULL;
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
    assert_true(fabs(tank.solids.slope_day * ec - 20) < 2);
}

/* Nothing speaks against the probe, so it is not accused; but that it may be the probe is said. */
static void a_climb_too_fast_for_minerals_is_waste_until_a_test_speaks(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    assert_true(solids_is_open(&tank.solids, &tank.view, SOLIDS_WASTE));
    tank.view.hand = WITNESS_PROBE;
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    assert_true(solids_replaces(&tank.solids, &tank.view, tank.cause, SOLIDS_WASTE));
    tank.view.hand = WITNESS_WATER;
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    assert_true(solids_replaces(&tank.solids, &tank.view, tank.cause, SOLIDS_PROBE_DRIFTS));
    assert_false(solids_replaces(&tank.solids, &tank.view, tank.cause, SOLIDS_TOPOFF_MINERALS));
}

/* A hand test or a change may come and tell; with a limit near it is told as soon as any other climb. */
static void what_may_be_the_probe_waits_for_evidence(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(2.5), &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_UNKNOWN);
    tank.view.ec_drift = 345;
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    tank.view.ec_drift = 320; /* behind already: told with its cause */
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    tank.view.ec_drift = NAN;
    live(DAYS(0.8), &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_UNKNOWN);
    live(DAYS(1), &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    tank.view.hand = WITNESS_PROBE;
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
}

static void minerals_that_lead_nowhere_for_weeks_are_no_news(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.ec_hi = 500;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(6), &ec, 3.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_UNKNOWN);
    tank.view.ec_drift = 400;
    live(10, &ec, 3.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
}

/* The mixed water of a change brings its own minerals: what evaporated stays concentrated. */
static void a_change_does_not_refute_a_stopped_topoff(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    without_level();
    tank.view.topoff_share = 0.012;
    live(DAYS(5), &ec, 0, &level, 0);
    live(DAYS(3.5), &ec, 3.4 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    ec -= 0.15 * (ec - 290);
    live(DAYS(1), &ec, 3.4 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    assert_false(solids_replaces(&tank.solids, &tank.view, SOLIDS_TOPOFF_MINERALS, SOLIDS_TOPOFF_STOPPED));
}

/* The jug was smaller than the bucket: level and solids fall at once, and the float's tank stays there. */
static void a_change_that_gave_less_than_it_took_is_no_stopped_topoff(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(5), &ec, 0, &level, 0);
    ec -= 6;
    level -= 5;
    for (int i = 0; i < 30; i++) {
        live(120, &ec, 0, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    }
}

/* How much the keeper says the top-off takes tells more than what is reckoned from room and lid. */
static void the_amount_of_the_topoff_tells_what_it_can_bring(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.topoff_share = 0.002;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(7), &ec, 3.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    tank.view.topoff_share = 0.01;
    live(60, &ec, 3.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
}

static void falling_hour_after_hour_is_a_topoff_running_over(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(240, &ec, -9.0 / 60, &level, 7.0 / 60);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_OVER);
}

/* The first evening: a change at six, a top-off at nine, nothing known of the tank. By hand for months it
 * would be no news; it goes on by a tenth, and it is. */
static void a_new_tank_by_hand_is_given_time(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.by_hand = true;
    live(DAYS(0.75), &ec, 0, &level, 0);
    live(200, &ec, -0.05 * 300 / 200, &level, 0.04);
    assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_OVER);
    live(600, &ec, -0.12 * 300 / 600, &level, 0.02);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_OVER);
}

/* Smaller than what is recognised for steps, five of them on one day. */
static void a_change_spread_over_a_day_is_no_drift(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(6), &ec, 0, &level, 0);
    for (int i = 0; i < 5; i++) {
        live(DAYS(0.2), &ec, 0, &level, 0);
        ec -= 2.6;
    }
    for (int i = 0; i < 48; i++) {
        live(60, &ec, 0, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    }
}

/* Up at once every morning, down by as much until the next: the reading stays where it is. */
static void what_only_sinks_without_its_steps_is_no_drift(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(8), &ec, 0, &level, 0);
    for (int i = 0; i < 6; i++) {
        ec += 7;
        live(DAYS(1), &ec, -7.0 / 1440, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    }
    assert_true(tank.steps >= 4);
}

static void level_falling_alone_is_a_leak(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(180, &ec, 0, &level, -5.0 / 60);
    assert_int_equal(tank.cause, SOLIDS_LEAK);
}

static void a_hand_that_tops_off_is_no_news(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    without_level();
    for (int i = 0; i < 6; i++) {
        live_by_hand(3, 3, &ec, &level);
        assert_true(tank.cause == SOLIDS_FINE || tank.cause == SOLIDS_UNKNOWN);
    }
    assert_int_equal(tank.steps, 5); /* the sixth has only just been made */
}

static void a_hand_that_no_longer_comes_is_told(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    without_level();
    live_by_hand(12, 2, &ec, &level);
    live(DAYS(5), &ec, 3.0 / 1440, &level, -2.0 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

static void its_level_tells_it_without_any_climb(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.ec_day = tank.view.ec_days = NULL;
    live_by_hand(12, 2, &ec, &level);
    assert_true(tank.cause == SOLIDS_UNKNOWN);
    live(DAYS(4.5), &ec, 3.0 / 1440, &level, -2.0 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

static void what_temperature_does_to_a_probe_is_learnt(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.temp_share = 0.02;
    live(DAYS(3), &ec, 0, &level, 0);
    assert_true(fabs(tank.solids.temp_share - 0.02) < 0.004);
    assert_int_equal(tank.steps, 0);
    assert_int_equal(tank.cause, SOLIDS_FINE);
}

static void a_sound_probe_is_left_as_it_is(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(3), &ec, 0, &level, 0);
    assert_true(fabs(tank.solids.temp_share) < 0.002);
}

/* Ten degrees in ten hours: an uncompensated probe then falls like water that is diluted. */
static void a_tank_that_cools_is_not_diluted(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.temp_share = 0.02;
    live(DAYS(3), &ec, 0, &level, 0);
    for (int i = 0; i < 60; i++) {
        utc_t now = { T0 + tank.minute * MS_PER_MIN };
        for (int k = 0; k < 10; k++, tank.minute++) {
            double warmer = -0.017 * (10 * i + k);
            now = (utc_t){ T0 + tank.minute * MS_PER_MIN };
            window_add(&tank.ec_day, now, 300 * (1 + 0.02 * warmer) + 2 * noise(tank.minute));
            window_add(&tank.temp_day, now, 23 + warmer);
            window_add(&tank.ec_days, now, 300 * (1 + 0.02 * warmer) + 2 * noise(tank.minute));
            window_add(&tank.temp_days, now, 23 + warmer);
        }
        tank.steps += solids_look(&tank.solids, &tank.view, now);
        assert_int_not_equal(solids_judge(&tank.solids, &tank.view, now), SOLIDS_TOPOFF_OVER);
    }
    assert_int_equal(tank.steps, 0);
}

static void a_slope_is_no_step(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(1), &ec, 0, &level, 0);
    live(DAYS(1), &ec, 30.0 / 1440, &level, 0);
    assert_int_equal(tank.steps, 0);
}

static void one_wild_quarter_of_an_hour_is_no_step(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(1), &ec, 0, &level, 0);
    ec = 340;
    live(15, &ec, 0, &level, 0);
    ec = 300;
    live(DAYS(0.5), &ec, 0, &level, 0);
    assert_int_equal(tank.steps, 0);
}

/* A change in a service window takes its share of a real climb. */
static void serve(double *ec, double fall, double *level)
{
    utc_t begin = { T0 + tank.minute * MS_PER_MIN };
    *ec -= fall;
    live(30, ec, 0, level, 0);
    solids_served(&tank.solids, begin, (utc_t){ T0 + tank.minute * MS_PER_MIN });
    live(60, ec, 0, level, 0);
}

static void a_change_that_a_probe_does_not_notice_gives_it_away(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(8), &ec, 0, &level, 0);
    live(DAYS(6), &ec, 4.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
    serve(&ec, 0, &level);
    live(DAYS(1.5), &ec, 4.0 / 1440, &level, 0);
    assert_true(fabs(tank.solids.answer) < 0.3);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    assert_true(solids_replaces(&tank.solids, &tank.view, tank.cause, SOLIDS_WASTE));
}

static void a_change_that_takes_its_share_proves_the_climb(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(8), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 12.0 / 1440, &level, 0);
    assert_true(solids_is_open(&tank.solids, &tank.view, tank.cause));
    serve(&ec, 0.15 * 60, &level);
    live(DAYS(1.5), &ec, 12.0 / 1440, &level, 0);
    assert_true(fabs(tank.solids.answer - 1) < 0.3);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    assert_false(solids_is_open(&tank.solids, &tank.view, tank.cause));
}

/* The tank stood ten per cent above its water before the probe began to climb: every change takes of that. */
static void what_a_change_takes_anyway_proves_nothing(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.target_ec = 270;
    live(DAYS(8), &ec, 0, &level, 0);
    live(DAYS(6), &ec, 4.0 / 1440, &level, 0);
    serve(&ec, 0.15 * 30, &level);
    live(DAYS(1), &ec, 4.0 / 1440, &level, 0);
    assert_true(tank.solids.answer < 0.3);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
}

/* What a hand adds to a tank is no answer, unless it was a change as somebody noted. */
static void only_a_change_that_was_told_answers_in_a_tank_by_hand(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.by_hand = true;
    live(DAYS(8), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 8.0 / 1440, &level, 0);
    ec -= 0.15 * 40;
    live(120, &ec, 0, &level, 0);
    assert_true(isnan(tank.solids.answer));
    solids_told(&tank.solids, &tank.view, (double)NAN);
    assert_true(fabs(tank.solids.answer - 1) < 0.35);
}

static void sinking_without_a_step_is_the_probe(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(5), &ec, 0, &level, 0);
    live(DAYS(4), &ec, -4.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
}

static void announced_steps_make_later_ones_usual(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    struct solids_step like = { { T0 }, 300, 285, false }, larger = { { T0 }, 300, 260, false };
    live(DAYS(1), &ec, 0, &level, 0);
    assert_false(solids_step_is_usual(&tank.solids, &like));
    serve(&ec, 15, &level);
    assert_true(solids_last_step(&tank.solids)->announced);
    assert_true(solids_step_is_usual(&tank.solids, &like));
    assert_false(solids_step_is_usual(&tank.solids, &larger));
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
    static uint8_t bytes[2048];
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

/* The probe wanders by a per cent from hour to hour: no step, and nothing is taken out of the climb for it.
 */
static void what_wanders_makes_no_steps(void **state)
{
    (void)state;
    double ec = 200, level = 250;
    tank.wanders = 0.3;
    tank.view.ec_drift = 250;
    live(DAYS(8), &ec, 0, &level, 0);
    live(DAYS(3), &ec, 4.0 / 1440, &level, 0);
    int named = 0;
    for (int i = 0; i < 16; i++) {
        live(DAYS(0.125), &ec, 4.0 / 1440, &level, 0);
        named += tank.cause == SOLIDS_TOPOFF_MINERALS;
    }
    assert_in_range(tank.steps, 0, 3);
    assert_true(tank.solids.climb.rise > 0.07);
    assert_in_range(named, 8, 16);
}

/* Rotting food makes acid; what evaporates does not. */
static void acid_tells_waste_from_minerals(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.topoff_share = 0.01;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 4.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
    tank.view.sours = true;
    live(60, &ec, 4.5 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_WASTE);
    assert_false(solids_is_open(&tank.solids, &tank.view, tank.cause));
}

/* Lidless tanks of a draughty room lose more than is reckoned. */
static void other_tanks_tell_what_evaporates_here(void **state)
{
    (void)state;
    double ec = 400, level = 250;
    without_level();
    live(DAYS(5), &ec, 0, &level, 0);
    live(DAYS(3.5), &ec, 11.5 / 1440, &level, 0);
    double alone = tank.solids.evaporation_day;
    assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    tank.view.air = 2;
    live(120, &ec, 11.5 / 1440, &level, 0);
    assert_true(fabs(tank.solids.evaporation_day - 2 * alone) < 0.1 * alone);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

static void a_tank_by_hand_shows_what_evaporates(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    without_level();
    tank.view.by_hand = true;
    live_by_hand(15, 3, &ec, &level);
    assert_true(solids_evaporation_is_reckoned(&tank.solids) == false);
    assert_true(fabs(tank.solids.evaporation_day - 0.01) < 0.003);
}

/* A filling-up after a repair, and then the probe that follows the temperature for an hour. */
static void a_refill_is_no_topoff_running_over(void **state)
{
    (void)state;
    double ec = 400, level = 250;
    without_level();
    live(DAYS(6), &ec, 0, &level, 0);
    ec -= 9;
    for (int i = 0; i < 18; i++) {
        live(10, &ec, i < 7 ? -0.06 : 0, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_OVER);
    }
}

/* Nobody filled the reservoir for eight days; then it takes an hour and a half. */
static void filling_up_after_a_stop_is_no_topoff_running_over(void **state)
{
    (void)state;
    double ec = 400, level = 250;
    without_level();
    live(DAYS(4), &ec, 0, &level, 0);
    live(DAYS(8), &ec, 4.0 / 1440, &level, 0);
    for (int i = 0; i < 10; i++) {
        live(15, &ec, -32.0 / 150, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_OVER);
    }
    for (int i = 0; i < 10 && tank.cause != SOLIDS_TOPOFF_OVER; i++)
        live(30, &ec, -32.0 / 150, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_OVER); /* on and on */
}

static void hand_tests_that_sink_along_clear_the_probe(void **state)
{
    (void)state;
    double ec = 400, level = 250;
    live(DAYS(6), &ec, 0, &level, 0);
    live(DAYS(5), &ec, -6.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    tank.view.hand_sink = WITNESS_WATER;
    live(10, &ec, -6.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_FINE);
}

/* The creep is known by hours; what was poured in since must be seen at once. */
static void what_was_topped_off_just_now_is_not_told(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(3), &ec, 0, &level, 0);
    live(DAYS(4), &ec, 4.0 / 1440, &level, -2.5 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    level += 10;
    ec -= 16;
    live(20, &ec, 0, &level, 0);
    for (int i = 0; i < 72; i++) { /* twelve hours */
        live(10, &ec, 4.0 / 1440, &level, -2.5 / 1440);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    }
    live(DAYS(5), &ec, 4.0 / 1440, &level, -4.0 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED); /* it was filled up once, and never again */
}

static void a_climb_taken_back_just_now_is_not_told(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    without_level();
    live_by_hand(12, 2, &ec, &level);
    live(DAYS(5), &ec, 3.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    ec -= 15;
    live(20, &ec, 0, &level, 0);
    for (int i = 0; i < 72; i++) {
        live(10, &ec, 3.0 / 1440, &level, 0);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    }
}

/* Filled up more than ever, it sinks more than ever, and is not lower for that. */
static void a_level_as_low_as_before_is_its_way(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live_by_hand(12, 3, &ec, &level);
    level += 4;
    live(DAYS(4), &ec, 1.5 / 1440, &level, -2.4 / 1440);
    assert_true(tank.solids.level_sink.rise > 1.4 * tank.solids.level_sink.usual);
    assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
    live(DAYS(1.5), &ec, 1.5 / 1440, &level, -2.4 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED); /* lower than ever */
}

/* Minerals come with a level that is held. */
static void what_the_missing_water_explains_is_no_minerals(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.ec_drift = 310;
    live(DAYS(2), &ec, 0, &level, 0);
    for (int i = 0; i < 28; i++) {
        live(DAYS(1) / 6, &ec, 3.3 / 1440, &level, -1.5 / 1440);
        assert_int_not_equal(tank.cause, SOLIDS_TOPOFF_MINERALS);
    }
    assert_true(tank.solids.level_sink.rise < 7.5);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

/* Its keeper has let it sink as far before: the climb comes from that alone, though it is more than ever. */
static void a_hand_that_waits_as_long_as_ever_is_no_news(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    tank.view.by_hand = true;
    tank.view.ec_drift = 306;
    live_by_hand(12, 3, &ec, &level);
    level += 2;
    for (int i = 0; i < 24; i++) {
        live(DAYS(1) / 6, &ec, 4.0 / 1440, &level, -2.2 / 1440);
        assert_true(tank.cause == SOLIDS_FINE || tank.cause == SOLIDS_UNKNOWN);
    }
    assert_true(solids_climbs(&tank.solids));
    live(DAYS(1.7), &ec, 4.0 / 1440, &level, -2.2 / 1440);
    assert_int_equal(tank.cause, SOLIDS_TOPOFF_STOPPED);
}

/* What a change did before a hand test does not take back what the test has shown. */
static void a_test_outlasts_the_change_before_it(void **state)
{
    (void)state;
    double ec = 300, level = 250;
    live(DAYS(2), &ec, 0, &level, 0);
    live(DAYS(5), &ec, 12.0 / 1440, &level, 0);
    tank.solids.answer = 0.8;
    tank.view.hand = WITNESS_PROBE;
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_int_equal(tank.cause, SOLIDS_PROBE_DRIFTS);
    tank.view.hand = WITNESS_NONE; /* the creep is longer than is looked back */
    live(10, &ec, 12.0 / 1440, &level, 0);
    assert_false(solids_replaces(&tank.solids, &tank.view, SOLIDS_WASTE, SOLIDS_PROBE_DRIFTS));
    tank.solids.answer = 0.8; /* a later change is new */
    assert_true(solids_replaces(&tank.solids, &tank.view, SOLIDS_WASTE, SOLIDS_PROBE_DRIFTS));
}

int main(void)
{
    const struct CMUnitTest tests[] = { CASE(what_wanders_makes_no_steps),
                                        CASE(what_was_topped_off_just_now_is_not_told),
                                        CASE(a_climb_taken_back_just_now_is_not_told),
                                        CASE(a_level_as_low_as_before_is_its_way),
                                        CASE(what_the_missing_water_explains_is_no_minerals),
                                        CASE(a_test_outlasts_the_change_before_it),
                                        CASE(a_hand_that_waits_as_long_as_ever_is_no_news),

                                        CASE(acid_tells_waste_from_minerals),
                                        CASE(other_tanks_tell_what_evaporates_here),
                                        CASE(a_tank_by_hand_shows_what_evaporates),
                                        CASE(a_refill_is_no_topoff_running_over),
                                        CASE(filling_up_after_a_stop_is_no_topoff_running_over),
                                        CASE(hand_tests_that_sink_along_clear_the_probe),
                                        CASE(a_quiet_tank_is_fine),
                                        CASE(a_water_change_is_one_step),
                                        CASE(a_climb_with_falling_level_is_a_stopped_topoff),
                                        CASE(a_slow_climb_with_level_held_is_minerals),
                                        CASE(a_fast_climb_with_level_held_is_waste),
                                        CASE(a_climb_too_fast_for_minerals_is_waste_until_a_test_speaks),
                                        CASE(what_may_be_the_probe_waits_for_evidence),
                                        CASE(minerals_that_lead_nowhere_for_weeks_are_no_news),
                                        CASE(a_change_that_gave_less_than_it_took_is_no_stopped_topoff),
                                        CASE(a_change_does_not_refute_a_stopped_topoff),
                                        CASE(filling_up_to_where_it_always_was_is_no_overflow),
                                        CASE(what_only_sinks_without_its_steps_is_no_drift),
                                        CASE(the_amount_of_the_topoff_tells_what_it_can_bring),
                                        CASE(a_new_tank_by_hand_is_given_time),
                                        CASE(a_change_spread_over_a_day_is_no_drift),
                                        CASE(falling_hour_after_hour_is_a_topoff_running_over),
                                        CASE(level_falling_alone_is_a_leak),
                                        CASE(a_hand_that_tops_off_is_no_news),
                                        CASE(a_hand_that_no_longer_comes_is_told),
                                        CASE(its_level_tells_it_without_any_climb),
                                        CASE(what_temperature_does_to_a_probe_is_learnt),
                                        CASE(a_sound_probe_is_left_as_it_is),
                                        CASE(a_tank_that_cools_is_not_diluted),
                                        CASE(a_slope_is_no_step),
                                        CASE(one_wild_quarter_of_an_hour_is_no_step),
                                        CASE(a_change_that_a_probe_does_not_notice_gives_it_away),
                                        CASE(a_change_that_takes_its_share_proves_the_climb),
                                        CASE(what_a_change_takes_anyway_proves_nothing),
                                        CASE(only_a_change_that_was_told_answers_in_a_tank_by_hand),
                                        CASE(sinking_without_a_step_is_the_probe),
                                        CASE(announced_steps_make_later_ones_usual),
                                        CASE(nothing_measured_is_not_judged),
                                        CASE(state_comes_back_and_damage_is_refused) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
