/* A tank with thermostat in a room, minute by minute, and what the heater's judge makes of it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "engine/heater_learn.h"
#include "near.h"

#define T0    INT64_C(1772323200000)
#define TAU_H 7.5

struct basin {
    struct arena arena;
    struct window temp, room;
    struct heater heater;
    struct heater_view view;
    struct tank tank;
    bool room_known, on, dead, stuck, fine; /* fine: gives as much as is asked for */
    int every_min;
    double temp_c, room_c, full_c_h, weak, lamp_c_h, poured_c, step_c, least_c, dial_c, range_c, noise_c;
    int minute;
    enum heater_cause cause;
    uint64_t dice;
};

static utc_t when(const struct basin *b)
{
    return (utc_t){ T0 + (int64_t)b->minute * MS_PER_MIN };
}

static double noise(struct basin *b)
{
    b->dice = b->dice * UINT64_C(6364136223846793005) + 1;
    return ((double)(b->dice >> 40) / 16777216.0 - 0.5) * b->noise_c;
}

static void basin_init(struct basin *b)
{
    *b = (struct basin){ .temp_c = 22,
                         .room_c = 18,
                         .full_c_h = 1.4,
                         .weak = 1,
                         .every_min = 1,
                         .step_c = 0.0625,
                         .least_c = NAN,
                         .range_c = 0.5,
                         .noise_c = 0.06,
                         .room_known = true,
                         .dice = 7 };
    b->tank = (struct tank){ .volume_l = 30, .heater_w = 50, .setpoint_c = 22, .lid = true };
    window_init(&b->temp, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &b->arena);
    window_init(&b->room, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &b->arena);
    heater_init(&b->heater);
}

static void live(struct basin *b)
{
    double below = 22.25 - b->dial_c - b->temp_c;
    b->on = below > b->range_c ? true : below < 0 ? false : b->on;
    double asked = b->fine ? fmin(fmax(below / 0.5, 0), 1) : b->on;
    double heat = b->dead ? 0 : (b->stuck ? 1 : asked) * b->full_c_h * b->weak;
    b->temp_c += (heat + b->lamp_c_h - (b->temp_c - b->room_c) / TAU_H) / 60 + b->poured_c;
    b->minute++;
    if (b->room_known)
        window_add(&b->room, when(b), b->room_c + noise(b));
    if (b->minute % b->every_min != 0)
        return;
    double shown = round((b->temp_c + noise(b)) / b->step_c) * b->step_c;
    window_add(&b->temp, when(b), shown);
    heater_feed(&b->heater, shown, when(b));
}

static void pass(struct basin *b, int minutes, bool learning)
{
    const struct window *room = b->room_known ? &b->room : NULL;
    for (int i = 0; i < minutes; i++) {
        live(b);
        heater_look(&b->heater, &b->tank, room, when(b), &b->view);
        b->view.least_c = b->least_c;
        b->cause = heater_judge(&b->heater, &b->view, when(b));
        if (learning && b->minute % 60 == 0)
            heater_learn(&b->heater, &b->temp, room, when(b));
    }
}

/* A day of plain heating is known. */
static void basin_learnt(struct basin *b)
{
    basin_init(b);
    pass(b, 1440, true);
}

/* Minutes until that cause is named; `most` when it is not. */
static int minutes_to(struct basin *b, enum heater_cause wanted, int most)
{
    for (int i = 0; i < most; i++) {
        pass(b, 1, false);
        if (b->cause == wanted)
            return i;
    }
    return most;
}

static void nothing_is_known_at_first(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    heater_look(&b.heater, &b.tank, NULL, when(&b), &b.view);
    assert_true(isnan(b.view.temp_c) && isnan(b.view.slope_c_h));
    assert_int_equal(heater_judge(&b.heater, &b.view, when(&b)), HEATER_UNKNOWN);
    heater_learn(&b.heater, &b.temp, NULL, when(&b));
    assert_true(isnan(b.heater.band_lo_c));
    arena_fini(&b.arena);
}

static void a_day_teaches_band_and_cooling(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    assert_near(b.heater.band_lo_c, 21.75, 0.1);
    assert_near(b.heater.band_hi_c, 22.25, 0.1);
    assert_near(b.heater.tau_h, TAU_H, 2.0);
    assert_near(b.heater.full_c_h, 1.4, 0.3);
    arena_fini(&b.arena);
}

static void a_healthy_tank_is_never_accused(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct basin b;
        basin_init(&b);
        b.dice = seed * 977;
        for (int m = 0; m < 4 * 1440; m++) {
            b.room_c = 18 - 1.5 * cos(m * 6.2832 / 1440);
            pass(&b, 1, true);
            assert_true(b.cause == HEATER_FINE || b.cause == HEATER_UNKNOWN);
        }
        arena_fini(&b.arena);
    }
}

static void a_dead_heater_is_named_within_the_hour_it_should_heat(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.dead = true;
    assert_true(minutes_to(&b, HEATER_DEAD, 200) < 110); /* an off phase lasts 55 min */
    assert_true(b.temp_c > 21.2);
    arena_fini(&b.arena);
}

static void without_a_room_probe_too(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.room_known = false;
    pass(&b, 1440, true);
    b.dead = true;
    assert_true(minutes_to(&b, HEATER_DEAD, 300) < 150);
    arena_fini(&b.arena);
}

static void the_end_of_a_long_fault_is_seen_soon(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.dead = true;
    pass(&b, 300, false);
    assert_int_equal(b.cause, HEATER_DEAD);
    b.dead = false;
    pass(&b, 45, false);
    assert_int_not_equal(b.cause, HEATER_DEAD);
    assert_true(heater_gives(&b.view));
    assert_true(b.temp_c < 21.6); /* still cold */
    arena_fini(&b.arena);
}

static void a_stuck_heater_is_named(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.stuck = true;
    assert_true(minutes_to(&b, HEATER_STUCK, 200) < 90);
    assert_true(b.temp_c < 23);
    arena_fini(&b.arena);
}

/* The hours of a fault teach nothing: the next one is named as soon. */
static void a_fault_is_not_learnt(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.dead = true;
    pass(&b, 300, false);
    b.dead = false;
    pass(&b, 240, false);
    b.heater.trouble_at = when(&b);
    pass(&b, 1200, true);
    assert_near(b.heater.band_lo_c, 21.75, 0.15);
    b.dead = true;
    assert_true(minutes_to(&b, HEATER_DEAD, 300) < 110);
    arena_fini(&b.arena);
}

/* One more minute at a time; true when none of them accuses the heater. */
static bool stays_quiet(struct basin *b, int minutes)
{
    for (int i = 0; i < minutes; i++) {
        pass(b, 1, false);
        if (b->cause == HEATER_DEAD || b->cause == HEATER_STUCK || b->cause == HEATER_WEAK)
            return false;
    }
    return true;
}

/* A room nearly as warm hides the heater, and the dial stands far off: what the setpoint says is said once,
 * not every night. */
static void where_it_has_been_is_no_news(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.tank.setpoint_c = 23.6;
    b.dead = true;
    b.step_c = 0.01;
    b.least_c = 22;
    bool accused[3] = { false };
    for (int m = 0; m < 3 * 1440; m++) {
        b.room_c = 21.9 + 0.4 * cos(m * 6.2832 / 1440);
        pass(&b, 1, true);
        accused[m / 1440] |= b.cause == HEATER_DEAD;
    }
    assert_false(b.heater.heating_seen);
    assert_true(accused[0]);
    assert_false(accused[1] || accused[2]);
    arena_fini(&b.arena);
}

/* Some nights a plain thermostat waits a little longer; that is forgotten slower than the rest. */
static void where_it_once_switched_on_by_itself_is_no_news(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.dial_c = 0.15;
    pass(&b, 6 * 60, true);
    b.dial_c = 0;
    pass(&b, 3 * 1440, true);
    assert_true(b.heater.lo_least_c < b.heater.band_lo_c - 0.05);
    b.dial_c = 0.15;
    assert_int_equal(minutes_to(&b, HEATER_DEAD, 6 * 60), 6 * 60);
    b.dead = true;
    assert_in_range(minutes_to(&b, HEATER_DEAD, 6 * 60), 5, 3 * 60);
    arena_fini(&b.arena);
}

/* One that switches widely strays by a share of that, and its bimetal is behind where the water cools faster.
 */
static void a_wide_one_may_switch_a_little_lower_than_ever(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.range_c = 1.1;
    pass(&b, 2 * 1440, true);
    assert_near(b.heater.band_lo_c, 21.15, 0.1);
    b.dial_c = 0.19;
    b.room_c -= 2;
    assert_int_equal(minutes_to(&b, HEATER_DEAD, 12 * 60), 12 * 60);
    b.dead = true;
    assert_in_range(minutes_to(&b, HEATER_DEAD, 6 * 60), 5, 4 * 60);
    arena_fini(&b.arena);
}

/* Every five minutes, noisy, and a heater that only just does: its bends are lost in a quarter hour's noise.
 */
static void a_gentle_heater_is_learnt_by_a_poor_probe(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.every_min = 5;
    b.noise_c = 0.22;
    b.range_c = 0.9;
    b.full_c_h = 1.2;
    b.room_c = 17.5;
    pass(&b, 2 * 1440, true);
    assert_true(b.heater.heating_seen && b.heater.full_c_h > 0.8);
    assert_near(b.heater.band_lo_c, 21.35, 0.12);
    assert_near(b.heater.band_hi_c, 22.25, 0.12);
    for (int hour = 0; hour < 24; hour++) {
        pass(&b, 60, true);
        assert_near(b.heater.band_lo_c, 21.35, 0.12);
        assert_int_not_equal(b.cause, HEATER_DEAD);
    }
    arena_fini(&b.arena);
}

static void silence_is_judged_by_the_usual_pause(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.range_c = 1.0;
    pass(&b, 2 * 1440, true);
    double least = 1;
    for (int i = 0; i < 1440; i++) {
        pass(&b, 1, false);
        double chance = heater_chance_of_silence(&b.heater, &b.view, when(&b));
        least = fmin(least, chance);
        if (heater_gives(&b.view))
            assert_near(chance, 1, 0);
    }
    assert_true(least > 0.15); /* it pauses for two hours, and not for three */
    while (!b.on)
        pass(&b, 1, false);
    b.dead = true;
    for (int i = 0; i < 180; i++)
        pass(&b, 1, false);
    assert_near(heater_chance_of_silence(&b.heater, &b.view, when(&b)), 0.15, 0.01);
    arena_fini(&b.arena);
}

static void one_that_heats_though_called_dead_is_learnt_afresh(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    heater_refute(&b.heater, when(&b));
    assert_true(b.heater.heating_seen); /* somebody plugged it in again */
    pass(&b, 4 * 1440, true);
    heater_refute(&b.heater, when(&b));
    assert_true(b.heater.heating_seen);
    pass(&b, 60, false);
    heater_refute(&b.heater, when(&b));
    assert_true(!b.heater.heating_seen && isnan(b.heater.band_lo_c) && isnan(b.heater.full_c_h));
    assert_near(b.heater.setpoint_c, 22, 0);
    pass(&b, 1440, true);
    assert_near(b.heater.band_lo_c, 21.75, 0.1);
    arena_fini(&b.arena);
}

static void a_weak_heater_is_named_and_not_called_dead(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.weak = 0.3;
    int minutes = minutes_to(&b, HEATER_WEAK, 720);
    assert_true(minutes < 600);
    for (int i = 0; i < 300; i++) {
        pass(&b, 1, false);
        assert_int_not_equal(b.cause, HEATER_DEAD);
    }
    b.weak = 1;
    pass(&b, 60, false);
    assert_int_not_equal(b.cause, HEATER_WEAK);
    arena_fini(&b.arena);
}

/* Half its power holds the water just so: it stands at the lower edge for hours, where a thermostat never
 * does.
 */
static void one_that_only_holds_is_weak(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    assert_int_equal(minutes_to(&b, HEATER_WEAK, 1440), 1440);
    while (b.temp_c > 21.8)
        pass(&b, 1, false);
    b.weak = 0.37;
    assert_in_range(minutes_to(&b, HEATER_WEAK, 720), 120, 420);
    assert_true(b.temp_c > 21.6);
    arena_fini(&b.arena);
}

/* Nor is one weak that has nothing to do, because the room is as warm, though nobody measures that. */
static void a_warm_room_unseen_is_no_weak_heater(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.room_known = false;
    b.range_c = 1.0;
    pass(&b, 2 * 1440, true);
    while (b.temp_c > 21.45)
        pass(&b, 1, false);
    b.dial_c = 0.12;
    b.room_c = 21.2; /* between where it switched and where it would now */
    assert_int_equal(minutes_to(&b, HEATER_WEAK, 1440), 1440);
    arena_fini(&b.arena);
}

/* One that gives as much as is asked for shows neither switching nor free cooling: told apart all the same.
 */
static void a_fine_heater_weak_is_not_called_dead(void **state)
{
    (void)state;
    for (int dead = 0; dead <= 1; dead++) {
        struct basin b;
        basin_init(&b);
        b.fine = true;
        b.every_min = 4;
        pass(&b, 1440, true);
        assert_true(b.heater.heating_seen && isnan(b.heater.tau_h));
        b.dead = dead;
        b.weak = 0.25; /* of 1.4 K/h, where 0.53 are lost */
        enum heater_cause right = dead ? HEATER_DEAD : HEATER_WEAK;
        int minutes = 0;
        for (; minutes < 600 && b.cause != HEATER_DEAD && b.cause != HEATER_WEAK; minutes++)
            pass(&b, 1, false);
        assert_int_equal(b.cause, right);
        assert_true(minutes < (dead ? 90 : 300));
        arena_fini(&b.arena);
    }
}

/* What is not learnt yet may be the dial; unless the animals' band is near. */
static void a_dial_that_is_off_is_no_dead_heater(void **state)
{
    (void)state;
    for (int near = 0; near <= 1; near++) {
        struct basin b;
        basin_init(&b);
        b.dial_c = 2.2;
        b.least_c = near ? 20 : 18;
        b.temp_c = 20.4;
        b.on = false;
        bool accused = false;
        for (int i = 0; i < 600; i++) {
            pass(&b, 1, false);
            accused |= b.cause == HEATER_DEAD;
        }
        assert_int_equal(accused, near);
        arena_fini(&b.arena);
    }
}

/* Dead in a room nearly as warm: no heat and some look the same, so it is told when the room cools. */
static void a_warm_room_proves_nothing(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.dead = true;
    b.room_c = 21.3;
    for (int i = 0; i < 600; i++) {
        pass(&b, 1, false);
        assert_int_not_equal(b.cause, HEATER_DEAD);
    }
    assert_true(b.view.below > 4);
    b.room_c = 18;
    assert_true(minutes_to(&b, HEATER_DEAD, 300) < 75);
    arena_fini(&b.arena);
}

/* A draught that cools faster than any tank does by itself says nothing of the heater. */
static void a_draught_is_no_dead_heater(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.lamp_c_h = -2.2;
    for (int i = 0; i < 90; i++) {
        pass(&b, 1, false);
        assert_int_not_equal(b.cause, HEATER_DEAD);
        assert_true(heater_idles(&b.heater, &b.view) < 6);
    }
    arena_fini(&b.arena);
}

static void noise_is_not_taken_for_cooling(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.every_min = 4;
    b.step_c = 0.1;
    pass(&b, 2880, true);
    assert_near(b.heater.tau_h, TAU_H, 0.15 * TAU_H);
    arena_fini(&b.arena);
}

static void lamps_and_a_warm_room_are_no_weak_heater(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.room_c = 21.3;
    b.lamp_c_h = 0.25;
    assert_true(stays_quiet(&b, 600));
    b.lamp_c_h = 0;
    assert_true(stays_quiet(&b, 600));
    arena_fini(&b.arena);
}

static void an_open_window_accuses_nobody(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    for (int i = 0; i < 40; i++) {
        b.room_c -= 0.12;
        assert_true(stays_quiet(&b, 1));
    }
    for (int i = 0; i < 120; i++) {
        b.room_c += 0.04;
        assert_true(stays_quiet(&b, 1));
    }
    arena_fini(&b.arena);
}

/* Poured in within ten minutes, 0.6 degrees colder or 0.2 warmer, at every phase of the thermostat. */
static void changed_water_accuses_nobody(void **state)
{
    (void)state;
    for (int phase = 0; phase < 90; phase += 10)
        for (int sign = -1; sign <= 1; sign += 2) {
            struct basin b;
            basin_learnt(&b);
            assert_true(stays_quiet(&b, phase));
            b.poured_c = sign < 0 ? -0.06 : 0.02;
            assert_true(stays_quiet(&b, 10));
            b.poured_c = 0;
            assert_true(stays_quiet(&b, 150));
            arena_fini(&b.arena);
        }
}

static void a_coarse_probe_will_do(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    b.step_c = 0.1;
    b.every_min = 5;
    pass(&b, 1440, true);
    assert_true(b.heater.heating_seen);
    assert_true(stays_quiet(&b, 1440));
    b.dead = true;
    assert_true(minutes_to(&b, HEATER_DEAD, 300) < 130);
    arena_fini(&b.arena);
}

/* It stops in the middle of the climb: no thermostat does that. */
static void one_that_stops_halfway_is_noticed_at_once(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    while (!(b.on && b.temp_c > 21.85 && b.temp_c < 21.95))
        pass(&b, 1, false);
    assert_true(heater_idles(&b.heater, &b.view) == 0);
    b.dead = true;
    int minutes = 0;
    for (; minutes < 60 && heater_idles(&b.heater, &b.view) == 0; minutes++)
        pass(&b, 1, false);
    assert_in_range(minutes, 3, 20);
    arena_fini(&b.arena);
}

static void one_that_stops_at_the_top_is_well(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    for (int i = 0; i < 2880; i++) {
        pass(&b, 1, true);
        assert_true(heater_idles(&b.heater, &b.view) < 3);
    }
    arena_fini(&b.arena);
}

static void another_setpoint_is_learnt_afresh(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    assert_true(b.heater.heating_seen);
    b.tank.setpoint_c = 24;
    pass(&b, 1, false);
    assert_false(b.heater.heating_seen);
    assert_true(isnan(b.heater.full_c_h));
    arena_fini(&b.arena);
}

static void a_calibrated_probe_takes_the_band_along(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    double lo = b.heater.band_lo_c, now = b.view.temp_c;
    heater_shift(&b.heater, 1, 0.5);
    heater_look(&b.heater, &b.tank, &b.room, when(&b), &b.view);
    assert_near(b.heater.band_lo_c, lo + 0.5, 1e-9);
    assert_near(b.view.temp_c, now + 0.5, 1e-9);
    arena_fini(&b.arena);
}

static void a_plug_without_power_speaks_for_the_heater(void **state)
{
    (void)state;
    struct basin b;
    basin_learnt(&b);
    b.view.unpowered = true;
    b.view.share = 1;
    assert_false(heater_gives(&b.view));
    arena_fini(&b.arena);
}

static void state_goes_over(void **state)
{
    (void)state;
    struct basin b;
    uint8_t bytes[2048];
    struct heater other;
    basin_learnt(&b);
    b.dead = true;
    (void)minutes_to(&b, HEATER_DEAD, 200);
    struct pack w = pack_writer(bytes, sizeof bytes);
    heater_visit(&b.heater, &w);
    assert_false(w.bad);
    heater_init(&other);
    struct pack r = pack_reader(bytes, w.at);
    heater_visit(&other, &r);
    assert_false(r.bad);
    heater_look(&other, &b.tank, &b.room, when(&b), &b.view);
    assert_int_equal(heater_judge(&other, &b.view, when(&b)), HEATER_DEAD);
    bytes[0] = 0xff; /* more minutes than there is room for */
    r = pack_reader(bytes, w.at);
    heater_visit(&other, &r);
    assert_true(r.bad);
    arena_fini(&b.arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_known_at_first),
        cmocka_unit_test(a_day_teaches_band_and_cooling),
        cmocka_unit_test(a_healthy_tank_is_never_accused),
        cmocka_unit_test(a_dead_heater_is_named_within_the_hour_it_should_heat),
        cmocka_unit_test(without_a_room_probe_too),
        cmocka_unit_test(the_end_of_a_long_fault_is_seen_soon),
        cmocka_unit_test(a_stuck_heater_is_named),
        cmocka_unit_test(a_fault_is_not_learnt),
        cmocka_unit_test(where_it_has_been_is_no_news),
        cmocka_unit_test(where_it_once_switched_on_by_itself_is_no_news),
        cmocka_unit_test(a_wide_one_may_switch_a_little_lower_than_ever),
        cmocka_unit_test(a_gentle_heater_is_learnt_by_a_poor_probe),
        cmocka_unit_test(silence_is_judged_by_the_usual_pause),
        cmocka_unit_test(one_that_heats_though_called_dead_is_learnt_afresh),
        cmocka_unit_test(a_weak_heater_is_named_and_not_called_dead),
        cmocka_unit_test(one_that_only_holds_is_weak),
        cmocka_unit_test(a_warm_room_unseen_is_no_weak_heater),
        cmocka_unit_test(a_fine_heater_weak_is_not_called_dead),
        cmocka_unit_test(a_dial_that_is_off_is_no_dead_heater),
        cmocka_unit_test(a_warm_room_proves_nothing),
        cmocka_unit_test(a_draught_is_no_dead_heater),
        cmocka_unit_test(noise_is_not_taken_for_cooling),
        cmocka_unit_test(lamps_and_a_warm_room_are_no_weak_heater),
        cmocka_unit_test(an_open_window_accuses_nobody),
        cmocka_unit_test(changed_water_accuses_nobody),
        cmocka_unit_test(a_coarse_probe_will_do),
        cmocka_unit_test(one_that_stops_halfway_is_noticed_at_once),
        cmocka_unit_test(one_that_stops_at_the_top_is_well),
        cmocka_unit_test(another_setpoint_is_learnt_afresh),
        cmocka_unit_test(a_calibrated_probe_takes_the_band_along),
        cmocka_unit_test(a_plug_without_power_speaks_for_the_heater),
        cmocka_unit_test(state_goes_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
