/* Flood and chatter by hand, at their edges, and with the state cut out and put back. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "engine/traffic.h"
#include "engine_tank.h"

#define SLOTS 40
#define MIN   MS_PER_MIN

struct rig {
    struct traffic traffic;
    struct arena arena;
};

static int setup(void **state)
{
    struct rig *r = calloc(1, sizeof *r);
    *state = r;
    traffic_init(&r->traffic, SLOTS, &r->arena);
    return 0;
}

static int teardown(void **state)
{
    struct rig *r = *state;
    arena_fini(&r->arena);
    free(r);
    return 0;
}

static struct traffic_verdict raise_at(struct rig *r, int slot, int64_t ms)
{
    return traffic_admit(&r->traffic, slot, TRAFFIC_RAISE, PRIORITY_MEDIUM, (mono_t){ ms });
}

static bool told(struct rig *r, int slot, enum traffic_kind kind, enum priority priority, int64_t ms)
{
    return traffic_admit(&r->traffic, slot, kind, priority, (mono_t){ ms }).announce;
}

/* --- chatter --- */

static void third_raise_is_told_and_marks(void **state)
{
    struct rig *r = *state;
    assert_true(raise_at(r, 0, 0).announce);
    assert_true(raise_at(r, 0, 20000).announce);
    struct traffic_verdict third = raise_at(r, 0, 40000);
    assert_true(third.chatter_began);
    assert_true(third.announce);
    assert_int_equal(traffic_chattering(&r->traffic), 1);
    struct traffic_verdict fourth = raise_at(r, 0, 60000);
    assert_false(fourth.announce);
    assert_false(fourth.chatter_began);
    assert_false(told(r, 0, TRAFFIC_OTHER, PRIORITY_HIGH, 61000));
    assert_false(told(r, 0, TRAFFIC_OTHER, PRIORITY_HIGH, 62000));
    assert_true(told(r, 0, TRAFFIC_UNMARKED, PRIORITY_LOW, 62500));
    assert_true(raise_at(r, 1, 63000).announce);
}

static void three_in_thirty_minutes_but_not_in_more(void **state)
{
    struct rig *r = *state;
    raise_at(r, 0, 0);
    raise_at(r, 0, 10 * MIN);
    assert_false(raise_at(r, 0, 30 * MIN).chatter_began);
    raise_at(r, 1, 0);
    raise_at(r, 1, 10 * MIN);
    assert_true(raise_at(r, 1, 30 * MIN - 1).chatter_began);
}

static void only_raises_count_for_chatter(void **state)
{
    struct rig *r = *state;
    raise_at(r, 0, 0);
    for (int i = 1; i < 20; i++)
        assert_true(told(r, 0, i % 2 ? TRAFFIC_OTHER : TRAFFIC_UNMARKED, PRIORITY_HIGH, i * 1000));
    assert_int_equal(traffic_chattering(&r->traffic), 0);
}

static void calm_is_half_an_hour_after_the_last_raise(void **state)
{
    struct rig *r = *state;
    assert_int_equal(traffic_calm_at(&r->traffic, 0).ms, MONO_NEVER.ms);
    for (int i = 0; i < 3; i++)
        raise_at(r, 0, i * MIN);
    assert_int_equal(traffic_calm_at(&r->traffic, 0).ms, 32 * MIN);
    raise_at(r, 0, 20 * MIN);
    assert_int_equal(traffic_calm_at(&r->traffic, 0).ms, 50 * MIN);
    traffic_calm(&r->traffic, 0);
    assert_int_equal(traffic_calm_at(&r->traffic, 0).ms, MONO_NEVER.ms);
    assert_true(raise_at(r, 0, 51 * MIN).announce);
    assert_false(raise_at(r, 0, 52 * MIN).chatter_began);
}

/* --- flood --- */

static void eleventh_raise_makes_a_flood(void **state)
{
    struct rig *r = *state;
    for (int i = 0; i < 10; i++) {
        struct traffic_verdict v = raise_at(r, i, i * 1000);
        assert_true(v.announce);
        assert_false(v.flood_began);
    }
    struct traffic_verdict v = raise_at(r, 10, 10000);
    assert_true(v.flood_began);
    assert_false(v.announce);
    assert_false(told(r, 0, TRAFFIC_OTHER, PRIORITY_MEDIUM, 11000));
    assert_true(told(r, 11, TRAFFIC_RAISE, PRIORITY_HIGH, 12000));
    assert_int_equal(r->traffic.flood_raises, 12);
}

static void eleven_in_ten_minutes_and_not_longer(void **state)
{
    struct rig *r = *state;
    for (int i = 0; i < 10; i++)
        raise_at(r, i, i * 1000);
    assert_false(raise_at(r, 10, 10 * MIN).flood_began);
    assert_true(raise_at(r, 11, 10 * MIN + 500).flood_began);
}

static void flood_ends_under_five_in_ten_minutes(void **state)
{
    struct rig *r = *state;
    assert_int_equal(traffic_flood_end_at(&r->traffic).ms, MONO_NEVER.ms);
    for (int i = 0; i < 11; i++)
        raise_at(r, i, i * 1000);
    /* Five are left until the fifth newest, of 6 s, is ten minutes old. */
    assert_int_equal(traffic_flood_end_at(&r->traffic).ms, 10 * MIN + 6000);
    raise_at(r, 12, 5 * MIN);
    assert_int_equal(traffic_flood_end_at(&r->traffic).ms, 10 * MIN + 7000);
    traffic_flood_end(&r->traffic);
    assert_true(raise_at(r, 13, 10 * MIN + 8000).announce);
    assert_false(r->traffic.flood);
}

static void one_that_chatters_makes_no_flood(void **state)
{
    struct rig *r = *state;
    for (int i = 0; i < 100; i++)
        raise_at(r, 0, i * 2000);
    assert_false(r->traffic.flood);
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 200000 }), 3);
}

/* --- the day --- */

static void raises_of_the_day(void **state)
{
    struct rig *r = *state;
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 0 }), 0);
    for (int h = 0; h < 30; h++)
        raise_at(r, h, h * MS_PER_HOUR);
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 29 * MS_PER_HOUR }), 24);
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 41 * MS_PER_HOUR }), 12);
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 80 * MS_PER_HOUR }), 0);
    raise_at(r, 0, 300 * MS_PER_HOUR);
    assert_int_equal(traffic_raises_day(&r->traffic, (mono_t){ 300 * MS_PER_HOUR }), 1);
}

/* --- state --- */

static struct now now_at(int64_t zero, int64_t ms)
{
    return (struct now){ { INT64_C(1772366400000) + ms }, { zero + ms }, true };
}

static size_t save(struct rig *r, uint8_t *bytes, size_t cap, struct now now)
{
    struct pack p = pack_writer(bytes, cap);
    traffic_visit(&r->traffic, &p, now);
    for (int i = 0; i < SLOTS; i++)
        traffic_visit_alert(&r->traffic, i, &p, now);
    assert_false(p.bad);
    return p.at;
}

static void state_goes_over_a_restart(void **state)
{
    struct rig *r = *state;
    static uint8_t bytes[8192];
    for (int i = 0; i < 11; i++)
        raise_at(r, i % 8, i * 1000);
    raise_at(r, 0, 11000);
    size_t n = save(r, bytes, sizeof bytes, now_at(0, 20000));
    struct rig other = { 0 };
    traffic_init(&other.traffic, SLOTS, &other.arena);
    struct pack p = pack_reader(bytes, n);
    traffic_visit(&other.traffic, &p, now_at(500, 20000));
    for (int i = 0; i < SLOTS; i++)
        traffic_visit_alert(&other.traffic, i, &p, now_at(500, 20000));
    assert_false(p.bad);
    assert_true(other.traffic.flood);
    assert_int_equal(other.traffic.flood_raises, r->traffic.flood_raises);
    assert_int_equal(traffic_flood_end_at(&other.traffic).ms, traffic_flood_end_at(&r->traffic).ms + 500);
    assert_int_equal(traffic_calm_at(&other.traffic, 0).ms, traffic_calm_at(&r->traffic, 0).ms + 500);
    assert_int_equal(traffic_raises_day(&other.traffic, (mono_t){ 20500 }),
                     traffic_raises_day(&r->traffic, (mono_t){ 20000 }));
    arena_fini(&other.arena);
}

static void unsound_state_is_refused(void **state)
{
    struct rig *r = *state;
    static uint8_t bytes[8192];
    r->traffic.flood = true; /* of nothing: it would never end */
    size_t n = save(r, bytes, sizeof bytes, now_at(0, 0));
    struct pack p = pack_reader(bytes, n);
    traffic_visit(&r->traffic, &p, now_at(0, 0));
    assert_true(p.bad);
    traffic_forget_all(&r->traffic);
    r->traffic.alerts[3].chattering = true;
    struct pack w = pack_writer(bytes, sizeof bytes);
    traffic_visit_alert(&r->traffic, 3, &w, now_at(0, 0));
    p = pack_reader(bytes, w.at);
    traffic_visit_alert(&r->traffic, 3, &p, now_at(0, 0));
    assert_true(p.bad);
    traffic_forget(&r->traffic, 3);
    assert_int_equal(traffic_chattering(&r->traffic), 0);
}

static void times_to_come_become_now(void **state)
{
    struct rig *r = *state;
    static uint8_t bytes[8192];
    for (int i = 0; i < 11; i++)
        raise_at(r, i, MS_PER_DAY + i);
    size_t n = save(r, bytes, sizeof bytes, now_at(0, 0));
    struct pack p = pack_reader(bytes, n);
    traffic_visit(&r->traffic, &p, now_at(0, 0));
    assert_false(p.bad);
    assert_int_equal(traffic_flood_end_at(&r->traffic).ms, TRAFFIC_FLOOD_MS);
}

/* --- joined to the alerts of an engine: the alert "store-failing" waits a minute both ways --- */

#define STORE "lentic/store-failing"

/* "raise! clear chatter-begin ...": announced ones with a mark, without updates. */
static void log_effects(const struct engine_tank *w, struct text *out)
{
    for (size_t i = 0; i < w->fx.count; i++) {
        const struct effect *e = &w->fx.items[i];
        if (e->kind == EFFECT_EVENT)
            text_printf(out, "%s ", event_kind_name(e->u.event.kind));
        else if (e->kind == EFFECT_ALERT && strcmp(w->site.alerts[e->u.alert.alert.index].ref, STORE) == 0)
            text_printf(out, "%s%s ", alert_change_name(e->u.alert.change), e->u.alert.announce ? "!" : "");
    }
}

static void pass(struct engine_tank *w, int64_t ms, struct text *out)
{
    w->now.utc.ms += ms;
    w->now.mono.ms += ms;
    bool more = true;
    while (more) {
        more = engine_advance(w->engine, w->now, true, &w->fx);
        log_effects(w, out);
    }
}

static void fails(struct engine_tank *w, bool wrong, struct text *out)
{
    engine_service(w->engine, KIND_STORE_FAILING, wrong, "no space", w->now, &w->fx);
    log_effects(w, out);
    pass(w, MS_PER_MIN, out);
}

static void start_engine(struct engine_tank *w)
{
    engine_tank_init(w);
    w->site.entry_count = 0;
    engine_tank_start(w);
}

/* Shelved for an hour, or taken back, as a person asks for it. */
static void obeys(struct engine_tank *w, enum command_verb verb)
{
    struct command c = engine_tank_command(verb);
    struct why why;
    c.place = w->site.service_place;
    c.alert = site_alert_find(&w->site, STORE, strlen(STORE));
    c.minutes = 60;
    assert_int_equal(engine_command(w->engine, &c, w->now, &w->fx, &why), STATUS_OK);
}

/* Saved, and taken up by a new process at now. */
static void restarts(struct engine_tank *w, struct now now)
{
    static uint8_t bytes[1 << 20];
    size_t n = engine_save(w->engine, bytes, sizeof bytes, w->now);
    engine_fini(w->engine);
    w->now = now;
    w->engine = engine_init(&w->site, w->now);
    assert_true(engine_restore(w->engine, bytes, n, w->now) > 0);
}

static void alert_that_chatters(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    for (int i = 0; i < 4; i++) {
        fails(&w, true, &out);
        fails(&w, false, &out);
    }
    assert_string_equal(log, "raise! clear! raise! clear! raise! chatter-begin clear raise clear ");
    assert_true(engine_tank_alert(&w, STORE).chattering);
    assert_int_equal(engine_load(w.engine, w.now).chattering, 1);
    text_clear(&out);
    pass(&w, 28 * MS_PER_MIN, &out);
    assert_string_equal(log, "");
    pass(&w, MS_PER_MIN, &out);
    assert_string_equal(log, "chatter-end update! ");
    assert_false(engine_tank_alert(&w, STORE).chattering);
    engine_tank_fini(&w);
}

static void one_that_calms_down_active_is_told(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    for (int i = 0; i < 3; i++) {
        fails(&w, true, &out);
        if (i < 2)
            fails(&w, false, &out);
    }
    text_clear(&out);
    restarts(&w, w.now);
    pass(&w, 30 * MS_PER_MIN, &out);
    assert_string_equal(log, "chatter-end update! ");
    engine_tank_fini(&w);
}

static void shelf_that_ends_soon(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    fails(&w, true, &out);
    text_clear(&out);
    obeys(&w, COMMAND_SHELVE);
    pass(&w, 50 * MS_PER_MIN - 1, &out);
    assert_string_equal(log, "");
    pass(&w, 1, &out);
    assert_string_equal(log, "shelf-ends ");
    pass(&w, 10 * MS_PER_MIN, &out);
    assert_string_equal(log, "shelf-ends unshelve raise! ");
    text_clear(&out);
    obeys(&w, COMMAND_SHELVE);
    fails(&w, false, &out);
    pass(&w, 2 * MS_PER_HOUR, &out);
    assert_null(strstr(log, "shelf-ends"));
    engine_tank_fini(&w);
}

static void what_people_do_is_no_chatter(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    fails(&w, true, &out);
    for (int i = 0; i < 4; i++) {
        obeys(&w, COMMAND_SHELVE);
        text_clear(&out);
        obeys(&w, COMMAND_UNSHELVE);
        log_effects(&w, &out);
        assert_string_equal(log, "unshelve raise! ");
    }
    assert_false(engine_tank_alert(&w, STORE).chattering);
    engine_tank_fini(&w);
}

static void a_flood_through_a_restart(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    fails(&w, true, &out);
    for (int i = 0; i < 10; i++) {
        obeys(&w, COMMAND_SHELVE);
        text_clear(&out);
        obeys(&w, COMMAND_UNSHELVE);
        log_effects(&w, &out);
        assert_string_equal(log, i < 9 ? "unshelve raise! " : "unshelve raise flood-begin ");
    }
    assert_true(engine_load(w.engine, w.now).flood);
    restarts(&w, (struct now){ { w.now.utc.ms + MS_PER_MIN }, { 77 }, true });
    text_clear(&out);
    pass(&w, 9 * MS_PER_MIN - 1, &out);
    assert_string_equal(log, "");
    pass(&w, 1, &out);
    assert_string_equal(log, "flood-end ");
    assert_false(engine_load(w.engine, w.now).flood);
    engine_tank_fini(&w);
}

static void what_is_asked_of_people(void **state)
{
    static struct engine_tank w;
    char log[1024];
    struct text out = text_over(log, sizeof log);
    (void)state;
    start_engine(&w);
    fails(&w, true, &out);
    struct engine_load load = engine_load(w.engine, w.now);
    assert_int_equal(load.active, 1);
    assert_int_equal(load.standing, 0);
    assert_int_equal(load.raises_day, 1);
    pass(&w, MS_PER_DAY + 1, &out);
    assert_int_equal(engine_load(w.engine, w.now).standing, 1);
    assert_int_equal(engine_load(w.engine, w.now).raises_day, 0);
    engine_tank_fini(&w);
}

static void test_message(void **state)
{
    static struct engine_tank w;
    static const char *const mail[] = { "/usr/bin/true", NULL };
    struct command c = engine_tank_command(COMMAND_TEST);
    struct why why = { "" };
    (void)state;
    start_engine(&w);
    snprintf(c.who, sizeof c.who, "mara");
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_int_equal(w.fx.count, 1);
    assert_int_equal(w.fx.items[0].u.event.kind, EVENT_TEST);
    assert_string_equal(w.fx.items[0].u.event.text, "test message, asked for by mara");
    assert_non_null(strstr(why.text, "no notify command"));
    w.site.notify.command = mail;
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_non_null(strstr(why.text, "on its way"));
    engine_tank_fini(&w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(third_raise_is_told_and_marks, setup, teardown),
        cmocka_unit_test_setup_teardown(three_in_thirty_minutes_but_not_in_more, setup, teardown),
        cmocka_unit_test_setup_teardown(only_raises_count_for_chatter, setup, teardown),
        cmocka_unit_test_setup_teardown(calm_is_half_an_hour_after_the_last_raise, setup, teardown),
        cmocka_unit_test_setup_teardown(eleventh_raise_makes_a_flood, setup, teardown),
        cmocka_unit_test_setup_teardown(eleven_in_ten_minutes_and_not_longer, setup, teardown),
        cmocka_unit_test_setup_teardown(flood_ends_under_five_in_ten_minutes, setup, teardown),
        cmocka_unit_test_setup_teardown(one_that_chatters_makes_no_flood, setup, teardown),
        cmocka_unit_test_setup_teardown(raises_of_the_day, setup, teardown),
        cmocka_unit_test_setup_teardown(state_goes_over_a_restart, setup, teardown),
        cmocka_unit_test_setup_teardown(unsound_state_is_refused, setup, teardown),
        cmocka_unit_test_setup_teardown(times_to_come_become_now, setup, teardown),
        cmocka_unit_test(alert_that_chatters),
        cmocka_unit_test(one_that_calms_down_active_is_told),
        cmocka_unit_test(shelf_that_ends_soon),
        cmocka_unit_test(what_people_do_is_no_chatter),
        cmocka_unit_test(a_flood_through_a_restart),
        cmocka_unit_test(what_is_asked_of_people),
        cmocka_unit_test(test_message),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
