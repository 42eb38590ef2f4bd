/* When a limit that is passed again and again is told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "engine/habit.h"
#include "engine_tank.h"

#define HOUR MS_PER_HOUR
#define DAY  MS_PER_DAY

static struct habit h;
static bool began;

static int setup(void **state)
{
    (void)state;
    habit_init(&h);
    return 0;
}

static bool told(int64_t ms, double beyond)
{
    return habit_admits(&h, beyond, (mono_t){ ms }, &began);
}

/* The first five, half a day apart. */
static void become(void)
{
    for (int i = 0; i < HABIT_RAISES; i++) {
        assert_true(told(DAY + i * 12 * HOUR, 0.2));
        assert_int_equal(began, i == HABIT_RAISES - 1);
    }
}

static void the_fifth_is_told_and_says_so(void **state)
{
    (void)state;
    become();
    assert_true(h.is_one && !h.quiet);
    assert_false(told(3 * DAY + 12 * HOUR, 0.2));
    assert_true(h.quiet && !began);
}

static void every_third_day_it_is_told_again(void **state)
{
    (void)state;
    become(); /* the last at day 3 */
    for (int i = 1; i < 6; i++)
        assert_false(told(3 * DAY + i * 12 * HOUR, 0.2));
    assert_true(told(6 * DAY, 0.2));
    assert_false(began);
    assert_false(told(6 * DAY + 12 * HOUR, 0.2));
}

static void what_is_worse_is_told_at_once(void **state)
{
    (void)state;
    become();
    assert_false(told(3 * DAY + 12 * HOUR, 0.29));
    assert_true(told(4 * DAY, 0.31));
    assert_false(told(4 * DAY + 12 * HOUR, 0.4)); /* no worse than 1.5 times what was told last */
    assert_true(told(5 * DAY, 0.5));
}

static void a_value_that_is_not_known_is_no_worse(void **state)
{
    (void)state;
    become();
    assert_false(told(3 * DAY + 12 * HOUR, (double)NAN));
    assert_true(h.beyond == 0.2);
}

static void what_was_told_is_known_until_it_is_clearly_worse(void **state)
{
    (void)state;
    assert_false(habit_told(&h, 0.1, 0.5, (mono_t){ DAY }));
    habit_note(&h, 0.1, (mono_t){ DAY });
    assert_true(habit_told(&h, 0.6, 0.5, (mono_t){ 2 * DAY }));
    assert_false(habit_told(&h, 0.7, 0.5, (mono_t){ 2 * DAY }));
    assert_false(habit_told(&h, 0.1, 0.5, (mono_t){ 4 * DAY }));
}

static void an_hour_s_flicker_is_one(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++)
        assert_true(told(DAY + i * 5 * MS_PER_MIN, 0.2));
    assert_false(h.is_one);
}

static void after_a_calm_week_it_is_news(void **state)
{
    (void)state;
    become();
    assert_false(told(3 * DAY + 12 * HOUR, 0.2));
    assert_true(told(11 * DAY, 0.1));
    assert_true(!h.is_one && h.beyond == 0.1);
}

static void rare_ones_make_no_habit(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++)
        assert_true(told((1 + i * 2) * DAY, 0.2));
    assert_false(h.is_one);
}

static void a_restart_changes_nothing(void **state)
{
    (void)state;
    uint8_t bytes[512];
    become();
    struct now now = { .mono = { 3 * DAY + HOUR } };
    struct pack p = pack_writer(bytes, sizeof bytes);
    size_t mark = pack_begin(&p, "habit");
    habit_visit(&h, &p, now);
    pack_end(&p, mark);
    struct pack in = pack_reader(bytes, p.at), section;
    char name[PACK_NAME_MAX];
    habit_init(&h);
    assert_true(pack_next(&in, name, &section, NULL));
    habit_visit(&h, &section, now);
    assert_false(section.bad);
    assert_false(told(3 * DAY + 12 * HOUR, 0.2));
    assert_true(told(6 * DAY, 0.2));
}

/* --- joined to an engine: carbon dioxide comes and goes with the lamp, faster than the animals bear --- */

#define FAST "tank/a1/ph-fast"

static const char *ref = FAST;

struct heard {
    int raises, clears, told_raises, told_clears, habits;
};

static void hear(const struct engine_tank *w, struct heard *heard)
{
    for (size_t i = 0; i < w->fx.count; i++) {
        const struct effect *e = &w->fx.items[i];
        heard->habits += e->kind == EFFECT_EVENT && e->u.event.kind == EVENT_HABIT;
        if (e->kind != EFFECT_ALERT || strcmp(w->site.alerts[e->u.alert.alert.index].ref, ref) != 0)
            continue;
        heard->raises += e->u.alert.change == CHANGE_RAISE;
        heard->clears += e->u.alert.change == CHANGE_CLEAR;
        heard->told_raises += e->u.alert.change == CHANGE_RAISE && e->u.alert.announce;
        heard->told_clears += e->u.alert.change == CHANGE_CLEAR && e->u.alert.announce;
    }
}

static void days_of_swings(struct engine_tank *w, int days, struct heard *heard)
{
    for (int m = 0; m < days * 24 * 60; m++) {
        double hour = m % (24 * 60) / 60.0;
        engine_tank_send(w, TANK_PH, 7 + 0.5 * fmin(1, fmax(0, fmin(hour - 8, 20 - hour))));
        hear(w, heard);
        w->fx.count = 0;
        engine_tank_wait(w, MS_PER_MIN);
        hear(w, heard);
        w->fx.count = 0;
    }
}

static void a_tank_s_daily_swing_is_told_now_and_then(void **state)
{
    static struct engine_tank w;
    struct heard heard = { 0 };
    (void)state;
    engine_tank_init(&w);
    w.tank.per_hour[Q_PH] = 0.3;
    engine_tank_start(&w);
    days_of_swings(&w, 10, &heard);
    assert_int_equal(heard.raises, 20);
    assert_int_equal(heard.clears, 20);
    assert_int_equal(heard.habits, 1);
    assert_in_range(heard.told_raises, 7, 8); /* five, then one in three days */
    assert_int_equal(heard.told_clears, heard.told_raises);
    assert_true(engine_tank_alert(&w, FAST).habitual);
    engine_tank_fini(&w);
}

/* Grave as a low pH is: plants bring it every night. */
static void a_nightly_low_of_ph_is_told_now_and_then(void **state)
{
    static struct engine_tank w;
    struct heard heard = { 0 };
    (void)state;
    engine_tank_init(&w);
    w.tank.band[Q_PH].lo = 7.2;
    engine_tank_start(&w);
    ref = "tank/a1/ph-low";
    days_of_swings(&w, 10, &heard);
    ref = FAST;
    assert_in_range(heard.raises, 9, 11);
    assert_in_range(heard.told_raises, 6, 7);
    engine_tank_fini(&w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(the_fifth_is_told_and_says_so, setup),
        cmocka_unit_test_setup(every_third_day_it_is_told_again, setup),
        cmocka_unit_test_setup(what_is_worse_is_told_at_once, setup),
        cmocka_unit_test_setup(a_value_that_is_not_known_is_no_worse, setup),
        cmocka_unit_test_setup(what_was_told_is_known_until_it_is_clearly_worse, setup),
        cmocka_unit_test_setup(an_hour_s_flicker_is_one, setup),
        cmocka_unit_test_setup(after_a_calm_week_it_is_news, setup),
        cmocka_unit_test_setup(rare_ones_make_no_habit, setup),
        cmocka_unit_test_setup(a_restart_changes_nothing, setup),
        cmocka_unit_test(a_tank_s_daily_swing_is_told_now_and_then),
        cmocka_unit_test(a_nightly_low_of_ph_is_told_now_and_then),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
