#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"
#include "small_room.h"

#include "rehearse/keeper.h"

#define DAY_S 86400.0

static struct chore_world works(double t_s)
{
    return (struct chore_world){ .t_s = t_s, .batch_ec = 200, .topoff_ec = 5, .room_c = 20 };
}

static struct basin tank(void)
{
    struct basin b = basin_init(30, true, 24, 400, 0, 24);
    return b;
}

static void a_change_balances_exactly(void **state)
{
    (void)state;
    struct chore c = chore_init(1, 0, 6, false, 0);
    struct basin b = tank();
    double begun = NAN, done = NAN, lowest = 30;
    for (double t = 0; t < 9 * DAY_S && isnan(done); t += 5) {
        struct chore_world w = works(t);
        enum chore_event e = chore_advance(&c, &b, &w, 5);
        begun = e == CHORE_BEGUN ? t : begun;
        done = e == CHORE_DONE ? t : done;
        lowest = fmin(lowest, b.water_l);
    }
    assert_false(isnan(begun) || isnan(done));
    assert_near(b.water_l, 30, 1e-9);
    assert_near(lowest, 30 - c.litres, 1e-9);
    assert_near(basin_ec25(&b), 400 + c.litres / 30 * (200 - 400), 1e-9);
    assert_true(fabs(b.temp_c - 24) <= 2.5 * c.litres / 30 + 1e-9);
    assert_true(done - begun > 5 * 60 && done - begun < 60 * 60);
    assert_true(fmod(begun, DAY_S) > 16 * 3600 && fmod(begun, DAY_S) < 21 * 3600);
}

static void changes_come_about_weekly(void **state)
{
    (void)state;
    struct chore c = chore_init(2, 0, 3, false, 0);
    struct basin b = tank();
    int changes = 0;
    for (double t = 0; t < 70 * DAY_S; t += 60) {
        struct chore_world w = works(t);
        changes += chore_advance(&c, &b, &w, 60) == CHORE_DONE;
    }
    assert_true(changes >= 8 && changes <= 12);
    assert_true(basin_ec25(&b) < 300);
}

static void tops_off_by_hand_unless_nobody_comes(void **state)
{
    (void)state;
    struct basin kept = tank(), left = tank(), pumped = tank();
    struct chore c = chore_init(3, 0, 0, true, 0), alone = c, none = chore_init(3, 0, 0, false, 0);
    kept.water_l = left.water_l = pumped.water_l = 28;
    double solids = kept.mineral_us_l;
    for (double t = 0; t < 4 * DAY_S; t += 60) {
        struct chore_world w = works(t), stopped = works(t);
        stopped.topoff_stopped = true;
        assert_int_equal(chore_advance(&c, &kept, &w, 60), CHORE_NOTHING);
        (void)chore_advance(&alone, &left, &stopped, 60);
        (void)chore_advance(&none, &pumped, &w, 60);
    }
    assert_near(kept.water_l, 30, 1e-9);
    assert_near(kept.mineral_us_l, solids + 2 * 5, 1e-9);
    assert_near(left.water_l, 28, 0);
    assert_near(pumped.water_l, 28, 0);
}

static void batches_last_a_week_and_differ_a_little(void **state)
{
    (void)state;
    double squares = 0;
    for (int week = 0; week < 400; week++) {
        double first = keeper_batch_ec(9, 0, 300, week * 7 * DAY_S);
        assert_near(keeper_batch_ec(9, 0, 300, week * 7 * DAY_S + 6 * DAY_S), first, 0);
        squares += (first - 300) * (first - 300);
    }
    assert_near(sqrt(squares / 400), 300 * 0.008, 0.35);
    assert_true(keeper_batch_ec(9, 0, 300, 0) != keeper_batch_ec(9, 1, 300, 0));
}

static void new_water_is_never_a_shock(void **state)
{
    (void)state;
    double lowest = 0, highest = 0;
    for (uint64_t seed = 0; seed < 2000; seed++) {
        struct chore c = chore_init(seed, 0, 3, false, 0);
        struct basin b = tank();
        struct chore_world w = works(c.next_s);
        assert_int_equal(chore_advance(&c, &b, &w, 5), CHORE_BEGUN);
        lowest = fmin(lowest, c.new_temp_c - 24);
        highest = fmax(highest, c.new_temp_c - 24);
    }
    assert_near(lowest, -2.5, 1e-9);
    assert_true(highest > 0.5 && highest <= 2.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_change_balances_exactly),
        cmocka_unit_test(changes_come_about_weekly),
        cmocka_unit_test(tops_off_by_hand_unless_nobody_comes),
        cmocka_unit_test(batches_last_a_week_and_differ_a_little),
        cmocka_unit_test(new_water_is_never_a_shock),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
