/* What an alert moves towards is told once, and scored when it came, did not come, or was overtaken. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "engine/forecast_watch.h"
#include "engine_tank.h"

#define FAST "tank/a1/temp-fast"

static struct engine_tank w;
static double temp_c;
static struct {
    int told, scored;
    struct event last;
} seen;

/* Falls with the water to be too cold at 20, too warm at 26; half a degree in an hour is too fast. */
static int setup(void **state)
{
    (void)state;
    engine_tank_init(&w);
    w.tank.band[Q_TEMP] = (struct span){ 20, 26 };
    w.tank.per_hour[Q_TEMP] = 0.5;
    engine_tank_start(&w);
    memset(&seen, 0, sizeof seen);
    temp_c = 24;
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static void look(void)
{
    for (size_t i = 0; i < w.fx.count; i++) {
        const struct effect *e = &w.fx.items[i];
        if (e->kind != EFFECT_EVENT)
            continue;
        seen.told += e->u.event.kind == EVENT_FORECAST;
        seen.scored += e->u.event.kind == EVENT_FORECAST_SCORED;
        if (e->u.event.kind == EVENT_FORECAST || e->u.event.kind == EVENT_FORECAST_SCORED)
            seen.last = e->u.event;
    }
    w.fx.count = 0;
}

static void minutes(int n, double per_h)
{
    for (int i = 0; i < n; i++) {
        temp_c += per_h / 60;
        engine_tank_send(&w, TANK_TEMP, temp_c);
        look();
        engine_tank_wait(&w, MS_PER_MIN);
        look();
    }
}

static struct forecast of_fast(void)
{
    return engine_tank_alert(&w, FAST).forecast;
}

/* From 24 degrees, falling 1.2 an hour, 20 is reached after 3 h 20 min. */
static void fall_until_told(void)
{
    minutes(180, 0);
    assert_int_equal(seen.told, 0);
    for (int i = 0; i < 90 && seen.told == 0; i++)
        minutes(1, -1.2);
    assert_int_equal(seen.told, 1);
}

static void what_comes_as_told_is_within(void **state)
{
    (void)state;
    fall_until_told();
    struct forecast f = of_fast();
    double hours = (double)(f.at.ms - w.now.utc.ms) / (double)MS_PER_HOUR;
    assert_int_equal(f.quantity, Q_TEMP);
    assert_true(f.limit == 20 && f.at_early.ms < f.at.ms);
    if (fabs(hours - (temp_c - 20) / 1.2) > 0.25)
        fail_msg("told for in %.2f h, it is %.2f h to go", hours, (temp_c - 20) / 1.2);
    assert_non_null(strstr(seen.last.text, FAST));
    minutes(240, -1.2);
    assert_int_equal(seen.told, 1); /* not again and again */
    assert_int_equal(seen.scored, 1);
    assert_non_null(strstr(seen.last.text, "within the spread"));
    assert_true(fabs(seen.last.value) < 0.5);
    struct forecast_scores s = engine_scores(w.engine);
    assert_true(s.made == 1 && s.reached == 1 && s.within == 1 && s.outside == 0 && s.overtaken == 0);
}

/* It falls three times as fast from then on: there long before it was said. */
static void what_comes_far_too_soon_is_outside(void **state)
{
    (void)state;
    fall_until_told();
    minutes(120, -6);
    assert_int_equal(seen.scored, 1);
    assert_non_null(strstr(seen.last.text, "outside the spread"));
    assert_true(seen.last.value < -0.5);
    assert_int_equal(engine_scores(w.engine).outside, 1);
}

/* Somebody mends the heater: the alert ends, the water never gets there. */
static void what_ends_before_is_overtaken(void **state)
{
    (void)state;
    fall_until_told();
    minutes(400, 0);
    assert_false(engine_tank_alert(&w, FAST).active);
    assert_int_equal(seen.scored, 1);
    assert_non_null(strstr(seen.last.text, "overtaken"));
    assert_true(isnan(seen.last.value));
    struct forecast f;
    assert_false(forecast_of_tank(w.engine, 0, w.now, &f));
}

static void what_was_told_outlives_a_restart(void **state)
{
    (void)state;
    fall_until_told();
    struct forecast before = of_fast(), f;
    size_t room = engine_save_room(w.engine);
    uint8_t *bytes = malloc(room);
    assert_non_null(bytes);
    size_t n = engine_save(w.engine, bytes, room, w.now);
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
    free(bytes);
    assert_int_equal(of_fast().at.ms, before.at.ms);
    assert_true(forecast_of_tank(w.engine, 0, w.now, &f) && f.place == 1);
    minutes(240, -1.2);
    assert_int_equal(seen.told, 1);
    assert_int_equal(seen.scored, 1);
    assert_int_equal(engine_scores(w.engine).within, 1);
}

/* A step that is over goes nowhere. */
static void a_step_is_no_way(void **state)
{
    (void)state;
    minutes(180, 0);
    temp_c -= 1.5;
    minutes(60, 0);
    assert_true(engine_tank_alert(&w, FAST).active);
    assert_int_equal(seen.told, 0);
    assert_int_equal(of_fast().quantity, Q_COUNT);
}

#define WITH_TANK(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_TANK(what_comes_as_told_is_within),
        WITH_TANK(what_comes_far_too_soon_is_outside),
        WITH_TANK(what_ends_before_is_overtaken),
        WITH_TANK(what_was_told_outlives_a_restart),
        WITH_TANK(a_step_is_no_way),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
