/* Every case of time: own and receive time, floor, skew, a box without a clock, steps both ways, a jump
 * ahead. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/timekeep.h"
#include "engine_tank.h"
#include "near.h"

#define NOON INT64_C(1772366400000)

static struct engine_tank w;
static struct reading got[400];
static int count, events;
static char last_event[200];

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    w.tank.band[Q_TEMP] = (struct span){ 20, 26 };
    count = events = 0;
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static void collect(void)
{
    for (size_t i = 0; i < w.fx.count; i++) {
        const struct effect *e = &w.fx.items[i];
        if (e->kind == EFFECT_READING && !e->u.reading.revised && count < 400)
            got[count++] = e->u.reading;
        if (e->kind == EFFECT_EVENT && e->u.event.kind == EVENT_CLOCK) {
            events++;
            strcpy(last_event, e->u.event.text);
        }
    }
    w.fx.count = 0;
}

static void advance(bool inclusive)
{
    bool more = true;
    while (more) {
        more = engine_advance(w.engine, w.now, inclusive, &w.fx);
        collect();
    }
}

static void pass(int64_t ms)
{
    w.now.utc.ms += ms;
    w.now.mono.ms += ms;
    advance(true);
}

static void send_at(int stream, double v, utc_t claimed, bool zoned)
{
    struct sample s = engine_tank_sample(stream, v);
    s.claimed = claimed;
    s.zoned = zoned;
    advance(false);
    engine_ingest(w.engine, &s, false, w.now, &w.fx);
    collect();
}

static void send(double v)
{
    send_at(TANK_TEMP, v, UTC_NONE, false);
}

static void is(int i, int64_t t_ms, enum time_basis basis)
{
    if (i >= count || got[i].t.ms != t_ms || got[i].basis != basis)
        fail_msg("reading %d of %d: %lld after noon by %s, not %lld by %s", i, count,
                 (long long)(got[i].t.ms - NOON), time_basis_name(got[i].basis), (long long)(t_ms - NOON),
                 time_basis_name(basis));
}

/* A value on a limit is inside it. */
static void own_times(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send_at(TANK_TEMP, 24, (utc_t){ NOON - 5000 }, true);
    send_at(TANK_EC, 24, (utc_t){ NOON - 5000 }, false);
    send_at(TANK_PH, 7, (utc_t){ INT64_C(1577836800000) - 1 }, true);
    send_at(TANK_TEMP, 24, (utc_t){ NOON + 120000 }, true);
    send_at(TANK_EC, 24, (utc_t){ NOON + 120001 }, true);
    is(0, NOON - 5000, TIME_OWN);
    is(1, NOON, TIME_NOT_ZONED);
    is(2, NOON, TIME_OLD);
    is(3, NOON + 120000, TIME_OWN);
    assert_int_equal(count, 4); /* a second value of that stream at the same receive time is a conflict */
    pass(1);
    send_at(TANK_EC, 24, (utc_t){ NOON + 120002 }, true);
    is(4, NOON + 1, TIME_FUTURE);
}

/* Started in 1970: values wait, the alarm does not. */
static void a_box_without_a_clock(void **state)
{
    (void)state;
    w.now = (struct now){ { 30000 }, { 30000 }, false };
    engine_tank_start(&w);
    for (int i = 0; i < 5; i++) {
        send(18 + 0.1 * i);
        pass(60000);
    }
    assert_int_equal(count, 0);
    assert_true(engine_tank_alert(&w, "tank/a1/temp-low").active);
    struct tank_report r;
    engine_report_tank(w.engine, 0, w.now, &r);
    assert_near(r.values[Q_TEMP].value, 18.4, 1e-9);
    w.now = (struct now){ { NOON }, { w.now.mono.ms + 1000 }, true };
    advance(true);
    assert_int_equal(engine_tank_alert(&w, "tank/a1/temp-low").raised_at.ms, NOON - 1000 - 180000);
    assert_int_equal(count, 5);
    for (int i = 0; i < 5; i++) {
        is(i, NOON - 1000 - (5 - i) * 60000, TIME_UNTRUSTED);
        assert_near(got[i].value, 18 + 0.1 * i, 1e-9);
        assert_false(got[i].late);
    }
    assert_non_null(strstr(last_event, "have their times now; 0 gave way"));
    send(18.5);
    is(5, NOON, TIME_RECEIVED);
    assert_int_equal(verdict_get(got[5].tests, TEST_GAP), FLAG_GOOD);
    assert_int_equal(w.fx.lost, 0);
}

static void own_times_while_there_is_no_clock(void **state)
{
    (void)state;
    w.now = (struct now){ { 30000 }, { 30000 }, false };
    engine_tank_start(&w);
    send_at(TANK_TEMP, 24, (utc_t){ NOON }, true);
    is(0, NOON, TIME_OWN);
    pass(1000);
    send_at(TANK_TEMP, 24.1, (utc_t){ NOON + 1000 }, true);
    is(1, NOON + 1000, TIME_OWN);
    send_at(TANK_TEMP, 24.2, (utc_t){ NOON - 1000 }, true); /* not later than what is known: waits */
    assert_int_equal(count, 2);
    w.now = (struct now){ { NOON + 9000 }, { w.now.mono.ms + 1000 }, true };
    advance(true);
    is(2, NOON + 8000, TIME_UNTRUSTED);
}

static void a_long_wait_is_thinned_not_cut(void **state)
{
    (void)state;
    w.now = (struct now){ { 30000 }, { 30000 }, false };
    engine_tank_start(&w);
    for (int i = 0; i < 500; i++) {
        send(24);
        pass(10000);
    }
    w.now = (struct now){ { NOON }, w.now.mono, true };
    advance(true);
    assert_true(count > UNTIMED_MAX / 2 && count <= UNTIMED_MAX);
    assert_int_equal(got[0].t.ms, NOON - 5000000);
    assert_int_equal(got[count - 1].t.ms, NOON - 10000);
    assert_null(strstr(last_event, "; 0 gave way"));
}

static void waiting_readings_survive_a_restart(void **state)
{
    (void)state;
    static uint8_t bytes[1 << 20];
    w.now = (struct now){ { 30000 }, { 30000 }, false };
    engine_tank_start(&w);
    send(24);
    pass(60000);
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    assert_true(n > 0 && n <= engine_save_room(w.engine));
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
    w.now = (struct now){ { NOON }, w.now.mono, true };
    advance(true);
    assert_int_equal(count, 1);
    is(0, NOON - 60000, TIME_UNTRUSTED);
}

/* A day ahead and back again before it was confirmed: no reading stands in the future, none comes late. */
static void a_jump_ahead_that_was_wrong(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    pass(60000);
    w.now.utc.ms += MS_PER_DAY;
    for (int i = 0; i < 3; i++) {
        send(24 + i);
        pass(60000);
    }
    assert_int_equal(count, 1);
    assert_int_equal(events, 1);
    assert_non_null(strstr(last_event, "not believed"));
    w.now.utc.ms -= MS_PER_DAY;
    send(27);
    assert_int_equal(count, 5);
    for (int i = 0; i < 3; i++)
        is(1 + i, NOON + (1 + i) * 60000, TIME_UNTRUSTED);
    is(4, NOON + 240000, TIME_RECEIVED);
    for (int i = 0; i < count; i++)
        assert_false(got[i].late);
}

static void a_jump_ahead_that_was_right(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    pass(60000);
    w.now.utc.ms += MS_PER_HOUR;
    for (int i = 0; i < 7; i++) {
        send(24);
        pass(60000);
    }
    is(1, NOON + MS_PER_HOUR + 60000, TIME_UNTRUSTED);
    is(5, NOON + MS_PER_HOUR + 5 * 60000, TIME_UNTRUSTED);
    is(7, NOON + MS_PER_HOUR + 7 * 60000, TIME_RECEIVED);
    assert_false(engine_tank_alert(&w, "tank/a1/temp-silent").active);
}

/* Readings after a step back are late by the wall clock, history only; but they are fresh, and alarms have
 * them. */
static void a_step_back(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    pass(60000);
    w.now.utc.ms -= MS_PER_HOUR;
    for (int i = 0; i < 20; i++) {
        send(28);
        pass(60000);
    }
    is(1, NOON + 60000 - MS_PER_HOUR, TIME_RECEIVED);
    assert_true(got[1].late);
    assert_non_null(strstr(last_event, "stepped back by 1 h"));
    assert_true(engine_tank_alert(&w, "tank/a1/temp-high").active);
    assert_false(engine_tank_alert(&w, "tank/a1/temp-silent").active);
}

/* A late reading with a time of its own is history only. */
static void late_by_its_own_time(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    for (int i = 0; i < 45; i++) {
        pass(60000);
        send_at(TANK_TEMP, 28, (utc_t){ NOON - MS_PER_HOUR + i * 1000 }, true);
    }
    assert_true(got[1].late && got[45].late);
    assert_false(engine_tank_alert(&w, "tank/a1/temp-high").active);
    assert_true(engine_tank_alert(&w, "tank/a1/temp-silent").active);
}

static void restart(int64_t off_ms, int64_t wall_ms)
{
    static uint8_t bytes[1 << 20];
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    assert_true(n > 0);
    engine_fini(w.engine);
    w.now.utc.ms += off_ms + wall_ms;
    w.now.mono.ms = 500; /* another boot */
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
}

/* Stopped while the clock was a day ahead: it is doubted afterwards as before. */
static void doubt_survives_a_restart(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    pass(60000);
    w.now.utc.ms += MS_PER_DAY;
    send(24.1);
    pass(60000);
    restart(30000, 0);
    send(24.2);
    assert_int_equal(count, 1);
    pass(60000);
    w.now.utc.ms -= MS_PER_DAY;
    send(24.3);
    is(1, NOON + 60000, TIME_UNTRUSTED);
    is(2, NOON + 150000, TIME_UNTRUSTED);
    is(3, NOON + 210000, TIME_RECEIVED);
    assert_false(engine_tank_alert(&w, "tank/a1/temp-silent").active);
}

/* The clock was put right while nobody ran: no deadline stands a day ahead. */
static void doubt_resolved_while_nobody_ran(void **state)
{
    (void)state;
    engine_tank_start(&w);
    send(24);
    pass(60000);
    w.now.utc.ms += MS_PER_DAY;
    send(24.1);
    pass(60000);
    restart(60000, -MS_PER_DAY);
    advance(true);
    is(1, NOON + 60000, TIME_UNTRUSTED);
    for (int i = 0; i < 45; i++)
        pass(60000);
    assert_true(engine_tank_alert(&w, "tank/a1/temp-silent").active);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(own_times),
        TEST(a_box_without_a_clock),
        TEST(own_times_while_there_is_no_clock),
        TEST(a_long_wait_is_thinned_not_cut),
        TEST(waiting_readings_survive_a_restart),
        TEST(a_jump_ahead_that_was_wrong),
        TEST(a_jump_ahead_that_was_right),
        TEST(doubt_survives_a_restart),
        TEST(doubt_resolved_while_nobody_ran),
        TEST(a_step_back),
        TEST(late_by_its_own_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
