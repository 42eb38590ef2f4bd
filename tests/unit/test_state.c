/* What is kept for the day the power goes: the whole state, a brief one on top, and stored readings. And how
 * the rules of a tank judge them, and which alert leads. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/state.h"
#include "engine_tank.h"

#define NOON INT64_C(1772366400000)
#define ROOM (1 << 21)

static struct engine_tank w;
static uint8_t whole[ROOM], brief[ROOM], again[ROOM];

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    w.tank.band[Q_TEMP] = (struct span){ 20, 26 };
    w.water.target[Q_EC] = 300;
    w.water.drift[Q_EC] = 40;
    w.now = (struct now){ { NOON }, { 30000 }, true };
    engine_tank_start(&w);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static void minutes(int count)
{
    for (int i = 0; i < count; i++) {
        struct sample s = engine_tank_sample(TANK_TEMP, 24 + 0.06 * (i % 5));
        w.now.utc.ms += MS_PER_MIN;
        w.now.mono.ms += MS_PER_MIN;
        while (engine_advance(w.engine, w.now, true, &w.fx))
            continue;
        engine_ingest(w.engine, &s, false, w.now, &w.fx);
    }
}

static void begin_anew(const uint8_t *bytes, size_t n)
{
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
}

static struct window_range day(void)
{
    return window_range(&w.engine->streams[TANK_TEMP].day, w.now.utc, MS_PER_DAY);
}

static void a_brief_state_follows_a_whole_one(void **state)
{
    (void)state;
    minutes(600);
    size_t n = engine_save(w.engine, whole, ROOM, w.now);
    size_t brief_n = engine_save_brief(w.engine, brief, ROOM, w.now);
    assert_true(brief_n > 0 && brief_n + 100 * 32 < n);
    begin_anew(whole, n);
    assert_true(engine_restore(w.engine, brief, brief_n, w.now) > 0);
    assert_int_equal(engine_save(w.engine, again, ROOM, w.now), n);
    assert_memory_equal(again, whole, n);
}

/* Without the readings the daily range would begin anew. */
static void stored_readings_fill_the_windows(void **state)
{
    (void)state;
    minutes(600);
    struct window_range before = day();
    size_t n = engine_save_brief(w.engine, brief, ROOM, w.now);
    begin_anew(brief, n);
    assert_int_equal(day().bins, 0);
    for (int i = 0; i < 600; i++) {
        struct reading r = { .stream = TANK_TEMP,
                             .t = { NOON + (i + 1) * MS_PER_MIN },
                             .value = i == 300 ? (double)NAN : 24 + 0.06 * (i % 5),
                             .tests = 0x22111111,
                             .flag = FLAG_GOOD };
        engine_recall_value(w.engine, &r, (utc_t){ INT64_MIN });
    }
    assert_int_equal(day().bins, before.bins);
    assert_true(day().lo == before.lo && day().hi == before.hi);
    assert_int_equal(engine_counts(w.engine).readings, 600);
}

/* A day's state and two days of stored readings are the whole state; of the weeks nothing counts twice. */
static void a_daily_state_and_readings_are_the_whole(void **state)
{
    (void)state;
    minutes(600);
    size_t n = engine_save(w.engine, whole, ROOM, w.now);
    size_t daily_n = engine_save_daily(w.engine, brief, ROOM, w.now);
    struct window_range before = day();
    assert_true(daily_n > 0 && daily_n + 100 * 18 < n);
    begin_anew(brief, daily_n);
    assert_int_equal(day().bins, 0);
    for (int i = 0; i < 600; i++) {
        struct reading r = { .stream = TANK_TEMP,
                             .t = { NOON + (i + 1) * MS_PER_MIN },
                             .value = 24 + 0.06 * (i % 5),
                             .tests = 0x22111111,
                             .flag = FLAG_GOOD };
        engine_recall_value(w.engine, &r, w.now.utc);
    }
    assert_int_equal(day().bins, before.bins);
    assert_true(day().lo == before.lo && day().hi == before.hi);
    struct window_range weeks = window_range(&w.engine->streams[TANK_TEMP].days, w.now.utc, MS_PER_DAY);
    const struct window_bin *hour = window_at(&w.engine->streams[TANK_TEMP].days, weeks.lo_at);
    assert_true(hour != NULL && hour->n <= 60);
}

static int changes_of(const char *ref, enum alert_change change)
{
    int count = 0;
    for (size_t i = 0; i < w.fx.count; i++) {
        const struct effect *e = &w.fx.items[i];
        count += e->kind == EFFECT_ALERT && e->u.alert.change == change &&
                 e->u.alert.alert.index == site_alert_find(&w.site, ref, strlen(ref));
    }
    return count;
}

/* Evaporation by day, a top-off in the evening, and what temperature does to a probe. */
static void a_tank_at_the_edge_of_its_drift_is_told_once(void **state)
{
    (void)state;
    int raised = 0, cleared = 0;
    for (int minute = 0; minute < 6 * 1440; minute++) {
        w.fx.count = 0;
        engine_tank_send(&w, TANK_EC, 341.5 + 16 * sin(6.2832 * minute / 1440) + minute % 2);
        engine_tank_wait(&w, 60000);
        raised += changes_of("tank/a1/ec-drift", CHANGE_RAISE);
        cleared += changes_of("tank/a1/ec-drift", CHANGE_CLEAR);
    }
    assert_int_equal(raised, 1);
    assert_int_equal(cleared, 0);
}

/* A thermostat that switches widely: 24.0 up to 25.3 within the hour, and back in two. */
static void hours_of_cycles(int hours)
{
    for (int i = 0; i < hours * 60; i++) {
        int at = i % 180;
        engine_tank_send(&w, TANK_TEMP, at < 60 ? 24 + 1.3 * at / 60 : 25.3 - 1.3 * (at - 60) / 120);
        w.fx.count = 0;
        engine_tank_wait(&w, MS_PER_MIN);
        w.fx.count = 0;
    }
}

/* Before the work it stood high in its cycle and after it low: the work did not do that. */
static void work_makes_no_swing_wider_than_it_was_to_be_seen(void **state)
{
    struct command c = engine_tank_command(COMMAND_SERVICE);
    struct why why;
    (void)state;
    c.place = w.tank.place;
    c.minutes = 30;
    hours_of_cycles(16);
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    hours_of_cycles(5);
    const struct window *temp = &w.engine->streams[TANK_TEMP].day;
    struct window_range seen = window_range(temp, w.now.utc, MS_PER_DAY);
    assert_true(service_disturbs(w.engine, 0, w.now.utc, MS_PER_DAY));
    double swing = service_range(w.engine, 0, temp, w.now.utc, MS_PER_DAY);
    assert_true(swing > 1 && swing <= seen.mean_hi - seen.mean_lo);
}

static int raise_at_once(enum alert_kind kind, enum quantity q)
{
    int slot = slot_find(&w.site, w.tank.place, kind, q);
    assert_true(slot >= 0);
    w.site.alerts[slot].settings.on_delay_ms = 0;
    w.now.utc.ms += MS_PER_MIN;
    w.now.mono.ms += MS_PER_MIN;
    w.fx.count = 0;
    alarm_judge(&w.engine->alarms, slot, TRI_YES, 20, 21, w.now, &w.fx);
    return slot;
}

static int leader_of(int slot)
{
    return engine_alert(w.engine, slot)->leader;
}

static void a_cause_leads_though_a_symptom_came_first(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    w.tank.heater_w = 50;
    w.tank.per_hour[Q_TEMP] = 0.5;
    w.tank.day_range[Q_TEMP] = 1.5;
    engine_tank_start(&w);
    int fast = raise_at_once(KIND_FAST, Q_TEMP), dead = raise_at_once(KIND_HEATER_DEAD, Q_COUNT);
    int low = raise_at_once(KIND_LOW, Q_TEMP), swing = raise_at_once(KIND_SWING, Q_TEMP);
    assert_int_equal(leader_of(fast), -1);
    assert_int_equal(leader_of(dead), -1);
    assert_int_equal(leader_of(low), dead);
    assert_int_equal(leader_of(swing), dead);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_tank_at_the_edge_of_its_drift_is_told_once, set_up, tear_down),
        cmocka_unit_test_setup_teardown(work_makes_no_swing_wider_than_it_was_to_be_seen, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_cause_leads_though_a_symptom_came_first, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_brief_state_follows_a_whole_one, set_up, tear_down),
        cmocka_unit_test_setup_teardown(stored_readings_fill_the_windows, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_daily_state_and_readings_are_the_whole, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
