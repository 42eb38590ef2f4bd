/* A tank with thermostat in a room, minute by minute, and what the heater's judge makes of it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "engine/heater.h"
#include "near.h"

#define T0    INT64_C(1772323200000)
#define TAU_H 7.5

struct basin {
    struct arena arena;
    struct window temp, room;
    struct heater heater;
    struct heater_view view;
    struct tank tank;
    bool room_known, on, dead, stuck;
    double temp_c, room_c, full_c_h;
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
    return ((double)(b->dice >> 40) / 16777216.0 - 0.5) * 0.06;
}

static void basin_init(struct basin *b)
{
    *b = (struct basin){ .temp_c = 22, .room_c = 18, .full_c_h = 1.4, .room_known = true, .dice = 7 };
    b->tank = (struct tank){ .volume_l = 30, .heater_w = 50, .setpoint_c = 22, .lid = true };
    window_init(&b->temp, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &b->arena);
    window_init(&b->room, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &b->arena);
    heater_init(&b->heater);
}

static void live(struct basin *b)
{
    b->on = b->temp_c < 21.75 ? true : b->temp_c > 22.25 ? false : b->on;
    double heat = b->stuck || (b->on && !b->dead) ? b->full_c_h : 0;
    b->temp_c += (heat - (b->temp_c - b->room_c) / TAU_H) / 60;
    b->minute++;
    window_add(&b->temp, when(b), round((b->temp_c + noise(b)) * 16) / 16);
    if (b->room_known)
        window_add(&b->room, when(b), b->room_c + noise(b));
}

static void pass(struct basin *b, int minutes, bool learning)
{
    const struct window *room = b->room_known ? &b->room : NULL;
    for (int i = 0; i < minutes; i++) {
        live(b);
        heater_look(&b->heater, &b->tank, &b->temp, room, when(b), &b->view);
        b->cause = heater_judge(&b->heater, &b->view, when(b));
        if (learning && b->minute % 60 == 0)
            heater_learn(&b->heater, &b->temp, room, when(b));
    }
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
    heater_look(&b.heater, &b.tank, &b.temp, NULL, when(&b), &b.view);
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
    basin_init(&b);
    pass(&b, 1440, true);
    assert_near(b.heater.band_lo_c, 21.75, 0.1);
    assert_near(b.heater.band_hi_c, 22.25, 0.1);
    assert_near(b.heater.tau_h, TAU_H, 2.0);
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
    basin_init(&b);
    pass(&b, 1440, true);
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
    basin_init(&b);
    pass(&b, 1440, true);
    b.dead = true;
    pass(&b, 300, false);
    assert_int_equal(b.cause, HEATER_DEAD);
    b.dead = false;
    pass(&b, 45, false);
    assert_int_not_equal(b.cause, HEATER_DEAD);
    assert_true(b.view.share > 1);
    assert_true(b.temp_c < 21.6); /* still cold */
    arena_fini(&b.arena);
}

static void a_stuck_heater_is_named(void **state)
{
    (void)state;
    struct basin b;
    basin_init(&b);
    pass(&b, 1440, true);
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
    basin_init(&b);
    pass(&b, 1440, true);
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

static void state_goes_over(void **state)
{
    (void)state;
    struct basin b;
    uint8_t bytes[512];
    struct heater other;
    basin_init(&b);
    pass(&b, 1440, true);
    b.dead = true;
    (void)minutes_to(&b, HEATER_DEAD, 200);
    struct pack w = pack_writer(bytes, sizeof bytes);
    heater_visit(&b.heater, &w);
    assert_false(w.bad);
    heater_init(&other);
    struct pack r = pack_reader(bytes, w.at);
    heater_visit(&other, &r);
    assert_false(r.bad);
    heater_look(&other, &b.tank, &b.temp, &b.room, when(&b), &b.view);
    assert_int_equal(heater_judge(&other, &b.view, when(&b)), HEATER_DEAD);
    bytes[7] = 0x7f; /* the band's lower edge: 1e300 degrees */
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
        cmocka_unit_test(state_goes_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
