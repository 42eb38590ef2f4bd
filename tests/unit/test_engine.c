/* The walk of readings by hand; then random days at a small site, cut anywhere, shuffled among tanks, and
 * restored from damaged bytes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/text.h"
#include "engine/engine.h"
#include "near.h"
#include "site_sketch.h"

#define T0      INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */
#define ENTRIES 9
#define LOG_MAX (4 * 1024 * 1024)

static struct probe_value values[ENTRIES + 1];
static struct probe_entry entries[ENTRIES];
static struct site site;
static struct arena site_arena;

/* a1: one plain probe. a2: two. b1: a document with temperature and raw conductivity. b2: named by the
 * pattern of documents, fitted with a plain probe only. */
static void site_make(void)
{
    static const char *const topics[] = { "probes/a1/temp",   "probes/a2/temp", "second/a2/temp",
                                          "probes/a2/ec",     "doc/{tank}",     "probes/b2/temp",
                                          "probes/room/temp", "leak/a1/left",   "leak/a1/right" };
    static const int places[] = { AT_A1, AT_A2, AT_A2, AT_A2, -1, AT_B2, AT_ROOM, AT_A1, AT_A1 };
    static int documents[] = { AT_B1, AT_B2 };
    for (int i = 0; i < ENTRIES; i++) {
        struct probe_value *v = &values[i < 5 ? i : i + 1];
        enum quantity q = i == 3 ? Q_EC : i >= 7 ? Q_LEAK : Q_TEMP;
        *v = sketch_value(i == 4 ? "/temp" : NULL, q, i == 3 ? "uS/cm" : i >= 7 ? "" : "Cel");
        v->every_s = 60;
        v->stale_s = 900;
        if (i == 4) {
            v[1] = sketch_value("/ec", Q_EC, "uS/cm");
            v[1].every_s = 60;
            v[1].stale_s = 900;
            v[1].compensated = false;
            v[1].alpha = 0.0191;
        }
        entries[i] = sketch_entry(&site_arena, topics[i], places[i], v, i == 4 ? 2 : 1);
    }
    entries[4].places = documents;
    entries[4].place_count = 2;
    site = sketch_site(entries, ENTRIES);
}

static int stream_of(const char *name)
{
    for (int i = 0; i < site.stream_count; i++)
        if (strcmp(site.streams[i].name, name) == 0)
            return i;
    fail_msg("no stream %s", name);
    return -1;
}

static int slot_of(const char *ref)
{
    int slot = site_alert_find(&site, ref, strlen(ref));
    if (slot < 0)
        fail_msg("no alert %s", ref);
    return slot;
}

/* --- an engine, its clock and everything it asked for as lines --- */

struct run {
    struct engine *e;
    struct effects fx;
    int64_t ms, zero;
    int64_t leapt_ms; /* the wall clock is ahead by so much */
    bool alone;       /* timers at an instant run after each input; else when time moves on */
    char *log;
    size_t len;
};

static struct now now_of(const struct run *r)
{
    return (struct now){ { T0 + r->ms + r->leapt_ms }, { r->zero + r->ms }, true };
}

static void run_init(struct run *r, char *log)
{
    r->ms = r->leapt_ms = 0;
    r->zero = 5000;
    r->alone = true;
    r->log = log;
    r->len = 0;
    log[0] = '\0';
    r->e = engine_init(&site, now_of(r));
}

static void run_fini(struct run *r)
{
    engine_fini(r->e);
    r->e = NULL;
}

static void put_effect(struct run *r, const struct effect *x)
{
    struct text out = text_over(r->log + r->len, LOG_MAX - r->len);
    const struct alert *a = &x->u.alert.alert;
    const struct reading *g = &x->u.reading;
    text_printf(&out, "%lld ", (long long)(x->t.ms - T0));
    if (x->kind == EFFECT_READING)
        text_printf(&out, "%s %.9g flag %d tests %x%s%s\n", site.streams[g->stream].name, g->value,
                    (int)g->flag, g->tests, g->late ? " late" : "", g->revised ? " settled" : "");
    else if (x->kind == EFFECT_ALERT)
        text_printf(&out, "%s %s%s %s %d %g %s; %s; %s %s %u\n", site.alerts[a->index].ref,
                    alert_change_name(x->u.alert.change), x->u.alert.announce ? "!" : "",
                    alert_state_name(a->base, a->marks), a->unknown, a->value, a->cause, a->evidence, a->who,
                    a->why, a->raises);
    else if (x->kind == EFFECT_EVENT)
        text_printf(&out, "%s: %s\n", event_kind_name(x->u.event.kind), x->u.event.text);
    else if (x->kind == EFFECT_TANK)
        text_printf(&out, "tank %d\n", x->u.tank);
    else if (x->kind == EFFECT_DEVICE)
        text_printf(&out, "device %s of %s since %lld\n", x->u.device.id,
                    site.streams[x->u.device.stream].name, (long long)(x->u.device.since.ms - T0));
    else if (x->kind == EFFECT_CALIB)
        text_printf(&out, "calibration of %s %g %g%s\n", site.streams[x->u.calib.stream].name,
                    x->u.calib.calib.gain, x->u.calib.calib.offset, x->u.calib.undone ? " undone" : "");
    else {
        text_put(&out, "journal ");
        journal_words(&x->u.journal, &out);
        text_put(&out, "\n");
    }
    assert_false(out.cut);
    r->len += out.len;
}

static void take_effects(struct run *r)
{
    assert_int_equal(r->fx.lost, 0);
    for (size_t i = 0; i < r->fx.count; i++)
        put_effect(r, &r->fx.items[i]);
    r->fx.count = 0;
}

static void advance(struct run *r, bool inclusive)
{
    while (engine_advance(r->e, now_of(r), inclusive, &r->fx))
        take_effects(r);
    take_effects(r);
}

static void wait_to(struct run *r, int64_t ms)
{
    r->ms = ms;
    advance(r, true);
}

static void put_in(struct run *r, const struct sample *s, bool retained)
{
    advance(r, false);
    engine_ingest(r->e, s, retained, now_of(r), &r->fx);
    take_effects(r);
    if (r->alone)
        advance(r, true);
}

static struct sample sample_of(int stream, double v)
{
    return (struct sample){ .stream = stream,
                            .kind = isnan(v) ? SAMPLE_MISSING : SAMPLE_VALUE,
                            .sent = v,
                            .raw = v,
                            .claimed = UTC_NONE };
}

static void feed(struct run *r, const char *name, double v)
{
    struct sample s = sample_of(stream_of(name), v);
    put_in(r, &s, false);
}

/* With the probe's own time, ms since T0. */
static void feed_at(struct run *r, const char *name, double v, int64_t own_ms, bool retained)
{
    struct sample s = sample_of(stream_of(name), v);
    s.claimed = (utc_t){ T0 + own_ms };
    s.zoned = true;
    put_in(r, &s, retained);
}

/* One value a minute, from the minute after now on. */
static void feed_for(struct run *r, const char *name, double v, int minutes)
{
    for (int i = 0; i < minutes; i++) {
        r->ms += MS_PER_MIN;
        feed(r, name, v + 0.0625 * (i % 2));
    }
}

static bool said(const struct run *r, const char *words)
{
    return strstr(r->log, words) != NULL;
}

static void forget_log(struct run *r)
{
    r->len = 0;
    r->log[0] = '\0';
}

static const struct alert *alert(const struct run *r, const char *ref)
{
    return engine_alert(r->e, slot_of(ref));
}

static struct value_report value_of(const struct run *r, int tank, enum quantity q)
{
    static struct tank_report report;
    engine_report_tank(r->e, tank, now_of(r), &report);
    return report.values[q];
}

static void request(struct run *r, const struct command *c)
{
    struct why why = { "" };
    advance(r, false);
    enum status st = engine_command(r->e, c, now_of(r), &r->fx, &why);
    take_effects(r);
    assert_true(st == STATUS_OK || why.text[0] != '\0');
    advance(r, true);
}

static void obey(struct run *r, enum command_verb verb, const char *ref, const char *place, double minutes)
{
    struct command c = { .verb = verb,
                         .place = place == NULL ? -1 : site_place_find(&site, place, strlen(place)),
                         .alert = ref == NULL ? -1 : slot_of(ref),
                         .quantity = Q_COUNT,
                         .value = NAN,
                         .at = UTC_NONE,
                         .minutes = minutes };
    request(r, &c);
}

static void restart(struct run *r, int64_t down_ms, int64_t zero)
{
    size_t room = engine_save_room(r->e);
    uint8_t *bytes = malloc(room);
    size_t n = engine_save(r->e, bytes, room, now_of(r));
    assert_true(n > 0);
    run_fini(r);
    r->ms += down_ms;
    r->zero = zero;
    r->e = engine_init(&site, now_of(r));
    assert_true(engine_restore(r->e, bytes, n, now_of(r)) > 0);
    free(bytes);
}

static char log_a[LOG_MAX], log_b[LOG_MAX];
static struct run run;

static int make(void **state)
{
    (void)state;
    site_make();
    run_init(&run, log_a);
    return 0;
}

static void site_drop(void)
{
    arena_fini(&site.arena);
    arena_fini(&site_arena);
    site_arena = (struct arena){ 0 };
}

static int unmake(void **state)
{
    (void)state;
    run_fini(&run);
    site_drop();
    return 0;
}

/* --- what counts as a reading --- */

static void retained_without_own_time_is_nothing(void **state)
{
    (void)state;
    struct sample s = sample_of(stream_of("probes/a1/temp"), 12);
    put_in(&run, &s, true);
    assert_false(said(&run, "probes/a1/temp"));
    assert_int_equal(value_of(&run, 0, Q_TEMP).origin, ORIGIN_NONE);
    assert_int_equal(engine_counts(run.e).retained, 1);
    assert_int_equal(engine_counts(run.e).readings, 0);
    for (int m = 1; m < 20; m++) { /* a broker that comes and goes keeps no dead probe alive */
        run.ms = m * MS_PER_MIN;
        put_in(&run, &s, true);
    }
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void retained_with_own_time_is_news_once(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, -30000, true);
    assert_true(said(&run, "doc/b1#/temp 22 flag 1"));
    feed_at(&run, "doc/b1#/temp", 22, -30000, true);
    assert_int_equal(engine_counts(run.e).readings, 1);
    assert_int_equal(engine_counts(run.e).duplicates, 1);
}

static void late_duplicate_and_conflict(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, 0, false);
    run.ms = 60000;
    feed_at(&run, "doc/b1#/temp", 22.5, 60000, false);
    forget_log(&run);
    feed_at(&run, "doc/b1#/temp", 22.5, 60000, false);
    assert_int_equal(run.len, 0);
    feed_at(&run, "doc/b1#/temp", 23, 60000, false);
    assert_true(said(&run, "conflict: a second, different value for 2026-03-01T12:01:00.000Z"));
    feed_at(&run, "doc/b1#/temp", 5, 30000, false); /* late: stored, never judged by limits */
    assert_true(said(&run, "doc/b1#/temp 5 flag 1 tests 22222112 late"));
    assert_near(value_of(&run, 2, Q_TEMP).value, 22.5, 1e-9);
    struct engine_counts c = engine_counts(run.e);
    assert_int_equal(c.readings, 3);
    assert_int_equal(c.duplicates, 1);
    assert_int_equal(c.conflicts, 1);
    assert_int_equal(c.late, 1);
}

/* A backlog after an outage neither raises nor clears nor freshens. */
static void late_values_drive_nothing(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, 0, false);
    for (int m = 1; m < 40; m++) {
        run.ms = m * MS_PER_MIN;
        feed_at(&run, "doc/b1#/temp", 3, -MS_PER_HOUR + m * 1000, false);
    }
    assert_false(said(&run, "temp-low"));
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
}

static void a_time_ahead_of_the_clock_is_not_the_newest(void **state)
{
    (void)state;
    run.ms = 60000;
    feed_at(&run, "doc/b1#/temp", 22, 60000 + 3600000, false);
    assert_int_equal(value_of(&run, 2, Q_TEMP).t.ms, T0 + 60000);
    run.ms = 120000;
    feed_at(&run, "doc/b1#/temp", 22.5, 120000 + 119000, false); /* a clock a little fast is believed */
    assert_int_equal(value_of(&run, 2, Q_TEMP).t.ms, T0 + 239000);
}

/* --- spikes --- */

static void a_value_waits_for_its_spike_verdict(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-high")].settings.on_delay_ms = 0;
    feed_for(&run, "probes/a1/temp", 24, 3);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 29); /* a lone spike of 5 */
    assert_false(said(&run, "temp-high"));
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 24);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 24);
    assert_true(said(&run, "probes/a1/temp 29 flag 4"));
    assert_false(said(&run, "temp-high"));
    feed_for(&run, "probes/a1/temp", 29, 1);
    assert_false(said(&run, "temp-high"));
    feed_for(&run, "probes/a1/temp", 29, 1); /* it stays up: no spike, a real rise */
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

static void without_a_successor_it_is_taken_when_the_gap_runs_out(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-high")].settings.on_delay_ms = 0;
    values[0].gate.gap_suspect_s = 300;
    feed_for(&run, "probes/a1/temp", 24, 3);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 29);
    wait_to(&run, run.ms + 299999);
    assert_false(said(&run, "temp-high"));
    wait_to(&run, run.ms + 1);
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

static void a_spike_does_not_freshen(void **state)
{
    (void)state;
    values[0].stale_s = 600;
    feed_for(&run, "probes/a1/temp", 22, 3);
    int64_t last = run.ms;
    run.ms += 500000;
    feed(&run, "probes/a1/temp", 40);
    for (int i = 0; i < 20; i++) { /* then nothing but the code for no reading */
        run.ms += MS_PER_MIN;
        feed(&run, "probes/a1/temp", NAN);
    }
    (void)last;
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void what_is_kept_out_does_not_freshen(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 22, 10);
    for (int i = 0; i < 20; i++) {
        struct sample s = sample_of(stream_of("probes/a1/temp"), i % 2 ? 400 : NAN); /* gross 4, missing */
        run.ms += MS_PER_MIN;
        put_in(&run, &s, false);
        s.kind = SAMPLE_SYNTAX;
        s.reason = "not a number";
        run.ms += 1000;
        put_in(&run, &s, false);
    }
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    assert_near(value_of(&run, 0, Q_TEMP).value, 22, 0.1);
    assert_true(value_of(&run, 0, Q_TEMP).stale);
}

static void unreadable_speaks_for_the_silence_it_causes(void **state)
{
    (void)state;
    struct sample s = sample_of(stream_of("probes/a1/temp"), 22);
    s.kind = SAMPLE_SYNTAX;
    s.reason = "not a number";
    for (int m = 1; m < 20; m++) {
        run.ms = m * MS_PER_MIN;
        put_in(&run, &s, false);
    }
    assert_true(said(&run, "tank/a1/temp-refused raise!"));
    assert_true(said(&run, "tank/a1/temp-silent raise "));
    assert_int_equal(alert(&run, "tank/a1/temp-silent")->leader, slot_of("tank/a1/temp-refused"));
}

static void a_rate_flag_hides_nothing_from_a_limit(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 5);
    for (int i = 0; i < 6; i++) { /* a heater stuck on in a small tank, or hot water: it climbs fast */
        run.ms += 10000;
        feed(&run, "probes/a1/temp", 25 + 3.0 * i);
    }
    feed_for(&run, "probes/a1/temp", 40, 4);
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

/* --- silence --- */

static void a_probe_never_seen_is_told(void **state)
{
    (void)state;
    wait_to(&run, 15 * MS_PER_MIN - 1);
    assert_false(said(&run, "silent raise"));
    wait_to(&run, 15 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    assert_true(said(&run, "no value ever came on probes/a1/temp"));
}

static void a_place_that_does_not_carry_that_make_is_not_silent(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "probes/b2/temp", 24 + 0.0625 * (m % 2));
    }
    assert_false(said(&run, "tank/b2/temp-silent raise"));
}

static void silence_freezes_limits_and_heater_and_clears_nothing(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 19, 10);
    assert_true(said(&run, "tank/a1/temp-low raise!"));
    feed_for(&run, "probes/a1/temp", 24, 3); /* its off-delay of five minutes has begun */
    site.alerts[slot_of("tank/a1/temp-low")].settings.off_delay_ms = MS_PER_HOUR;
    forget_log(&run);
    wait_to(&run, run.ms + 4 * MS_PER_HOUR);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    feed_for(&run, "probes/a1/temp", 19, 3);
    assert_false(said(&run, "tank/a1/temp-low raise"));
}

static void off_delay_does_not_run_out_in_silence(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-low")].settings.off_delay_ms = MS_PER_HOUR;
    feed_for(&run, "probes/a1/temp", 19, 10);
    feed_for(&run, "probes/a1/temp", 24, 3);
    wait_to(&run, run.ms + 4 * MS_PER_HOUR);
    assert_false(said(&run, "tank/a1/temp-low clear"));
    assert_true(alert(&run, "tank/a1/temp-low")->active);
    assert_true(alert(&run, "tank/a1/temp-low")->unknown);
}

static void the_second_probe_speaks_when_the_first_is_silent(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 10)
            feed(&run, "probes/a2/temp", 24 + 0.0625 * (m % 2));
        run.ms += 1000;
        feed(&run, "second/a2/temp", m < 40 ? 24.1 : 19 + 0.0625 * (m % 2));
    }
    assert_true(said(&run, "tank/a2/temp-silent raise!"));
    assert_true(said(&run, "tank/a2/temp-low raise!"));
}

/* A probe that fails long after another of its make is news of its own. */
static void a_later_silence_is_told_by_itself(void **state)
{
    (void)state;
    for (int m = 1; m < 120; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 60)
            feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m % 2));
        feed(&run, "doc/b1#/ec", 400 + m % 2);
        if (m < 10)
            feed(&run, "doc/b2#/temp", 24 + 0.0625 * (m % 2));
    }
    assert_true(said(&run, "tank/b2/temp-silent raise!"));
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
}

static void silent_together_is_one_message(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 10)
            feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m % 2));
        if (m < 11)
            feed(&run, "doc/b2#/temp", 24 + 0.0625 * (m % 2));
    }
    wait_to(&run, MS_PER_HOUR);
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
    assert_true(said(&run, "tank/b2/temp-silent raise "));
}

/* A moving twin must not clear, value by value, what a stuck one shows. */
static void one_stuck_of_two_is_told_once(void **state)
{
    (void)state;
    for (int m = 1; m < 10 * 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "probes/a2/temp", 24);
        run.ms += 1000;
        feed(&run, "second/a2/temp", 24 + 0.0625 * (m % 2));
    }
    const char *first = strstr(log_a, "tank/a2/temp-stuck raise!");
    assert_non_null(first);
    assert_null(strstr(first + 1, "tank/a2/temp-stuck raise"));
    assert_false(said(&run, "tank/a2/temp-stuck clear"));
}

static void a_raw_probe_is_stuck_though_its_value_moves(void **state)
{
    (void)state;
    for (int m = 1; m < 28 * 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m / 40 % 8));
        feed(&run, "doc/b1#/ec", m > 25 * 60 && m < 28 * 60 - 2 ? 300 : 300 + 0.1 * (m % 7));
    }
    assert_true(said(&run, "tank/b1/ec-stuck raise!") && said(&run, "tank/b1/ec-stuck clear"));
}

/* --- the broker --- */

static void broker(struct run *r, bool down)
{
    advance(r, false);
    engine_service(r->e, KIND_BROKER_DOWN, down, "refused", now_of(r), &r->fx);
    take_effects(r);
    advance(r, true);
}

static void without_the_broker_silence_means_nothing(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    broker(&run, true);
    wait_to(&run, run.ms + 3 * MS_PER_HOUR);
    assert_true(said(&run, "lentic/broker-down raise!"));
    assert_false(said(&run, "silent raise"));
    broker(&run, false);
    wait_to(&run, run.ms + 14 * MS_PER_MIN);
    assert_false(said(&run, "silent raise"));
    wait_to(&run, run.ms + 2 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void a_restart_while_the_broker_is_away_forgets_no_probe(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    broker(&run, true);
    wait_to(&run, run.ms + MS_PER_HOUR);
    restart(&run, 30000, 9);
    broker(&run, false);
    wait_to(&run, run.ms + 16 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

/* --- conductivity --- */

static void conductivity_takes_its_own_tank_s_temperature(void **state)
{
    (void)state;
    feed(&run, "probes/a1/temp", 15);
    feed(&run, "probes/a2/temp", 16);
    feed(&run, "doc/b1#/ec", 300);
    assert_true(said(&run, "doc/b1#/ec nan flag 2")); /* no temperature yet: no number */
    run.ms = 1000;
    feed(&run, "doc/b1#/temp", 20);
    feed(&run, "doc/b1#/ec", 300);
    assert_near(value_of(&run, 2, Q_EC).value, 300 / (1 - 0.0191 * 5), 1e-6);
    run.ms = 60000;
    feed(&run, "doc/b1#/temp", 30);
    feed(&run, "doc/b1#/ec", 300);
    assert_near(value_of(&run, 2, Q_EC).value, 300 / (1 + 0.0191 * 5), 1e-6);
}

static void a_calibration_holds_from_now_on(void **state)
{
    (void)state;
    struct calib c = CALIB_IDENTITY;
    c.offset = -1.5;
    feed(&run, "probes/a1/temp", 24);
    engine_calibrate(run.e, stream_of("probes/a1/temp"), &c);
    run.ms = 60000;
    feed(&run, "probes/a1/temp", 24);
    assert_true(said(&run, "probes/a1/temp 24 flag"));
    assert_near(value_of(&run, 0, Q_TEMP).value, 22.5, 1e-9);
}

/* --- leaks --- */

static void any_wet_detector_is_a_leak_until_all_are_dry(void **state)
{
    (void)state;
    feed(&run, "leak/a1/left", 0);
    feed(&run, "leak/a1/right", 0);
    assert_false(said(&run, "tank/a1/leak "));
    run.ms = 60000;
    feed(&run, "leak/a1/right", 1); /* the second one */
    assert_true(said(&run, "tank/a1/leak raise! UNACK"));
    assert_true(said(&run, "the leak detector is wet"));
    for (int m = 2; m < 90; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "leak/a1/left", 0);
        feed(&run, "leak/a1/right", 1);
    }
    assert_false(said(&run, "tank/a1/leak clear"));
    for (int m = 90; m < 152; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "leak/a1/left", 0);
        feed(&run, "leak/a1/right", 0);
    }
    assert_true(said(&run, "tank/a1/leak clear!"));
}

static void a_drowned_detector_clears_nothing(void **state)
{
    (void)state;
    feed(&run, "leak/a1/left", 1);
    run.ms = 60000;
    feed(&run, "leak/a1/left", 0);
    wait_to(&run, run.ms + 5 * MS_PER_HOUR);
    assert_false(said(&run, "tank/a1/leak clear"));
}

static void a_leak_is_told_in_a_service_window_too(void **state)
{
    (void)state;
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 60);
    run.ms = 60000;
    feed(&run, "leak/a1/left", 1);
    assert_true(said(&run, "tank/a1/leak raise! UNACK"));
}

/* --- service --- */

static void a_service_window_ends_by_itself(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 30);
    feed_for(&run, "probes/a1/temp", 19, 20);
    assert_false(said(&run, "temp-low raise"));
    assert_true(said(&run, "tank/a1/temp-low state DSUPR"));
    feed_for(&run, "probes/a1/temp", 19, 15);
    assert_true(said(&run, "tank/a1/temp-low raise! UNACK"));
}

/* Work begins right after the first value of a new probe: nothing is judged yet, and nothing breaks. */
static void a_command_before_the_first_verdict(void **state)
{
    (void)state;
    feed(&run, "probes/a1/temp", 24);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 30);
    obey(&run, COMMAND_SHELVE, "tank/a1/temp-low", NULL, 30);
    obey(&run, COMMAND_OUT, NULL, "tank/a1", NAN);
    assert_int_equal(alert(&run, "tank/a1/temp-low")->marks, 7);
}

static void refusals_are_sentences(void **state)
{
    (void)state;
    obey(&run, COMMAND_ACK, "tank/a1/temp-low", NULL, NAN);
    obey(&run, COMMAND_ACK, NULL, "tank/a1", NAN);
    obey(&run, COMMAND_ACK, NULL, NULL, NAN);
    obey(&run, COMMAND_SERVICE, NULL, "room", 30);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 0);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 5000);
    obey(&run, COMMAND_BACK, NULL, "tank/a1", NAN);
    assert_false(said(&run, "tank/a1"));
}

/* --- a restart --- */

static void a_long_stop_matures_no_delay_without_a_value(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-low")].settings.on_delay_ms = 6 * MS_PER_HOUR;
    feed_for(&run, "probes/a1/temp", 24, 3);
    feed_for(&run, "probes/a1/temp", 19, 5);
    restart(&run, 12 * MS_PER_HOUR, 77);
    wait_to(&run, run.ms + 30 * MS_PER_MIN);
    assert_false(said(&run, "temp-low raise"));
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void what_began_while_down_is_told(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    feed_for(&run, "probes/a1/temp", 19, 3);
    restart(&run, 5 * MS_PER_MIN, -9);
    wait_to(&run, run.ms + 1000);
    assert_true(said(&run, "tank/a1/temp-low raise!"));
}

/* Windows full, the flat line's runs at their longest: the room that is asked for must do. */
static void the_room_always_suffices(void **state)
{
    (void)state;
    run_fini(&run);
    values[0].every_s = values[0].stale_s = NAN;
    values[0].gate.attenuated_window_s = 6 * 3600;
    values[0].gate.attenuated_suspect = 1e-9;
    values[0].gate.flat_tol = 2;
    run_init(&run, log_a);
    for (int h = 0; h < 510; h++) {
        run.ms = h * MS_PER_HOUR;
        feed(&run, "probes/a1/temp", 22 + 0.0625 * (h % 3));
    }
    for (int i = 0; i < 600; i++) {
        run.ms += 5 * MS_PER_MIN;
        feed(&run, "probes/a1/temp", 22 + 0.0625 * (i % 3));
    }
    for (int i = 0; i < 3000; i++) { /* swings that shrink: every record stays an extreme of the run */
        run.ms += 7000;
        feed(&run, "probes/a1/temp", 22 + (i % 2 ? 1 : -1) * (0.9 - i * 0.0002));
    }
    size_t room = engine_save_room(run.e);
    uint8_t *bytes = malloc(room);
    size_t n = engine_save(run.e, bytes, room, now_of(&run));
    assert_true(n > 60000);
    free(bytes);
}

/* --- random days --- */

static uint64_t dice;

static unsigned roll(unsigned sides)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (unsigned)((dice >> 33) % sides);
}

enum what { VALUE, COMMAND, LINK, PROBE, CLOCK };

struct happening {
    int64_t ms;
    enum what what;
    struct sample sample;
    bool retained;
    enum command_verb verb;
    int slot, tank;
    double minutes;
    struct command command; /* PROBE: calibrated or exchanged */
};

#define HAPPENINGS 700
static struct happening script[HAPPENINGS];

static struct sample random_sample(int64_t ms, double *level)
{
    static const char *const names[] = { "probes/a1/temp", "probes/a2/temp",  "second/a2/temp",
                                         "probes/a2/ec",   "doc/b1#/temp",    "doc/b1#/ec",
                                         "probes/b2/temp", "probes/room/temp" };
    unsigned n = roll(8);
    bool solids = n == 3 || n == 5;
    level[n] += ((double)roll(2001) - 1000) / (solids ? 100.0 : 2500.0);
    double v = (solids ? 290 : 21) + level[n] + (roll(40) == 0 ? 6 : 0);
    struct sample s = sample_of(stream_of(names[n]), roll(30) == 0 ? NAN : round(v * 16) / 16);
    if (n == 4 || n == 5) {
        s.claimed = (utc_t){ T0 + ms - (int64_t)roll(5) * 20000 };
        s.zoned = roll(20) > 0;
    }
    s.battery = roll(9) ? (double)NAN : roll(60);
    s.link = roll(9) ? (double)NAN : -(double)roll(90);
    if (n == 6) /* exchanged twice in the course of it, with stragglers */
        (void)snprintf(s.device, sizeof s.device, "%lld",
                       (long long)(ms / (4 * MS_PER_HOUR) + (roll(9) == 0)));
    if (roll(60) == 0) {
        s.kind = SAMPLE_ABSENT;
        s.reason = roll(2) ? "none of the members asked for" : NULL;
    }
    if (roll(40) == 0) {
        s.kind = roll(2) ? SAMPLE_SYNTAX : SAMPLE_UNIT;
        s.reason = "not a number";
        (void)snprintf(s.shown, sizeof s.shown, "%s", "???");
    }
    return s;
}

static struct command random_fitting(int tank)
{
    struct command c = { .verb = roll(3) ? COMMAND_CALIBRATE : COMMAND_EXCHANGE,
                         .place = site.tanks[tank].place,
                         .alert = -1,
                         .quantity = Q_TEMP,
                         .value = NAN,
                         .at = UTC_NONE,
                         .minutes = NAN,
                         .stream = -1,
                         .gain = NAN,
                         .offset = ((double)roll(21) - 10) / 20,
                         .undo = roll(3) == 0,
                         .back_to = UTC_NONE };
    (void)snprintf(c.device, sizeof c.device, "probe %u", roll(5));
    return c;
}

static void write_script(uint64_t seed)
{
    static const enum command_verb verbs[] = { COMMAND_ACK, COMMAND_SHELVE,  COMMAND_UNSHELVE,
                                               COMMAND_OUT, COMMAND_SERVICE, COMMAND_BACK,
                                               COMMAND_ACK, COMMAND_RESET };
    double level[8] = { 0 };
    int64_t ms = 0;
    dice = seed * UINT64_C(0x9E3779B97F4A7C15);
    for (int i = 0; i < HAPPENINGS; i++) {
        struct happening *h = &script[i];
        ms += roll(60) == 0 ? (int64_t)roll(90) * MS_PER_MIN : (int64_t)roll(5) * 10000;
        *h = (struct happening){ .ms = ms, .what = VALUE, .retained = roll(25) == 0 };
        h->sample = random_sample(ms, level);
        if (roll(20) == 0) {
            h->what = COMMAND;
            h->verb = verbs[roll(8)];
            h->slot = roll(3) ? (int)roll((unsigned)site.alert_count) : -1;
            h->tank = (int)roll(4);
            h->minutes = roll(4) ? 1.0 + roll(120) : (double)NAN;
        } else if (roll(90) == 0) {
            h->what = LINK;
            h->tank = (int)roll(2);
        } else if (roll(30) == 0) {
            h->what = PROBE;
            h->tank = (int)roll(4);
            h->command = random_fitting(h->tank);
        }
    }
}

static void play(struct run *r, const struct happening *h)
{
    r->ms = h->ms;
    if (h->what == VALUE)
        put_in(r, &h->sample, h->retained);
    else if (h->what == LINK)
        broker(r, h->tank == 1);
    else if (h->what == PROBE)
        request(r, &h->command);
    else if (h->what == CLOCK)
        r->leapt_ms = r->leapt_ms == 0 ? MS_PER_DAY : 0;
    else
        obey(r, h->verb, h->slot < 0 || h->verb == COMMAND_SERVICE ? NULL : site.alerts[h->slot].ref,
             site.places[site.tanks[h->tank].place].text, h->minutes);
}

/* Some of the days with a wall clock that leaps a day ahead and comes back. */
static void let_the_clock_leap(void)
{
    for (int i = 0; i < HAPPENINGS; i++)
        if (roll(120) == 0)
            script[i].what = CLOCK;
}

static void same_log(const char *wanted, const char *got, const char *what, uint64_t seed, int at)
{
    size_t line = 0;
    for (size_t i = 0; wanted[i] == got[i] && wanted[i] != '\0'; i++)
        if (wanted[i] == '\n')
            line = i + 1;
    if (strcmp(wanted, got) != 0)
        fail_msg("seed %llu, %s %d: wanted\n%.400s\ngot\n%.400s", (unsigned long long)seed, what, at,
                 wanted + line, got + line);
}

static void a_cut_anywhere_changes_nothing(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 1; seed <= 12; seed++) {
        write_script(seed);
        if (seed % 3 == 0)
            let_the_clock_leap();
        run_init(&run, log_a);
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        assert_true(run.len > 20000);
        for (int cut = 7; cut < HAPPENINGS; cut += 97) {
            run_init(&run, log_b);
            for (int i = 0; i < HAPPENINGS; i++) {
                play(&run, &script[i]);
                if (i % cut == cut - 1)
                    restart(&run, 0, (int64_t)roll(1000000));
            }
            run_fini(&run);
            same_log(log_a, log_b, "cut after every", seed, cut);
        }
    }
    run_init(&run, log_a);
}

/* Lines of one tank: its alerts, its probes, its events. */
static void lines_of(const char *log, const char *tank, char *out)
{
    char ref[32], probe[32], doc[32];
    (void)snprintf(ref, sizeof ref, " tank/%s/", tank);
    (void)snprintf(probe, sizeof probe, "/%s/", tank);
    (void)snprintf(doc, sizeof doc, "/%s#", tank);
    size_t len = 0;
    for (const char *at = log; *at != '\0';) {
        size_t n = strcspn(at, "\n") + 1;
        char line[1024];
        (void)snprintf(line, sizeof line, "%.*s", (int)n, at);
        if (strstr(line, ref) != NULL || strstr(line, probe) != NULL || strstr(line, doc) != NULL) {
            memcpy(out + len, at, n);
            len += n;
        }
        at += n;
    }
    out[len] = '\0';
}

static bool of_same_tank(const struct happening *a, const struct happening *b)
{
    if (a->what != VALUE || b->what != VALUE)
        return true;
    int p = site.streams[a->sample.stream].place, q = site.streams[b->sample.stream].place;
    return p == q || p == AT_ROOM || q == AT_ROOM;
}

/* Neighbours of different tanks at one instant change places; those of one tank keep their order. */
static void shuffle(void)
{
    for (int round = 0; round < 4; round++)
        for (int i = 0; i + 1 < HAPPENINGS; i++)
            if (script[i].ms == script[i + 1].ms && !of_same_tank(&script[i], &script[i + 1]) && roll(2)) {
                struct happening h = script[i];
                script[i] = script[i + 1];
                script[i + 1] = h;
            }
}

static void other_tanks_order_changes_nothing(void **state)
{
    (void)state;
    static char a[LOG_MAX], b[LOG_MAX];
    static const char *const tanks[] = { "a1", "a2", "b1", "b2" };
    run_fini(&run);
    for (uint64_t seed = 50; seed < 58; seed++) {
        write_script(seed);
        for (int i = 0; i < HAPPENINGS; i++)
            script[i].ms = script[i].ms / 30000 * 30000; /* many at one instant */
        run_init(&run, log_a);
        run.alone = false;
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        shuffle();
        run_init(&run, log_b);
        run.alone = false;
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        for (int t = 0; t < 4; t++) {
            lines_of(log_a, tanks[t], a);
            lines_of(log_b, tanks[t], b);
            same_log(a, b, "tank", seed, t);
        }
    }
    run_init(&run, log_a);
}

/* --- damaged state --- */

static void is_sane(struct run *r)
{
    for (int i = 0; i < site.alert_count; i++) {
        const struct alert *a = engine_alert(r->e, i);
        assert_in_range(a->base, ALERT_NORM, ALERT_LATAK);
        assert_in_range(a->marks, 0, 7);
        assert_true(a->leader >= -1 && a->leader < site.alert_count);
        assert_int_equal(a->index, i);
        assert_true(memchr(a->evidence, '\0', sizeof a->evidence) != NULL);
    }
}

/* Whatever came back: a day and a half later nothing is kept quiet that has no end, and values are judged. */
static void lives_on(struct run *r, int from)
{
    is_sane(r);
    int64_t begin = r->ms;
    for (int i = from; i < HAPPENINGS && i < from + 40; i++) {
        play(r, &script[i]);
        is_sane(r);
    }
    if (r->ms < begin)
        r->ms = begin;
    wait_to(r, r->ms + 49 * MS_PER_HOUR);
    for (int i = 0; i < site.alert_count; i++)
        assert_int_equal(engine_alert(r->e, i)->marks & (ALERT_SHELVED | ALERT_BY_DESIGN), 0);
    for (int i = 0; i < 6; i++) {
        r->ms += MS_PER_MIN;
        feed(r, "probes/a1/temp", 24 + 0.0625 * (i % 2));
    }
    assert_int_equal(value_of(r, 0, Q_TEMP).t.ms, T0 + r->ms);
}

static size_t snapshot(uint64_t seed, uint8_t **bytes)
{
    write_script(seed);
    run_init(&run, log_a);
    for (int i = 0; i < 400; i++)
        play(&run, &script[i]);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a2", 60);
    size_t room = engine_save_room(run.e);
    *bytes = malloc(room);
    size_t n = engine_save(run.e, *bytes, room, now_of(&run));
    run_fini(&run);
    return n;
}

static void wake(const uint8_t *bytes, size_t n)
{
    run.len = 0;
    run.zero = 3;
    run.e = engine_init(&site, now_of(&run));
    (void)engine_restore(run.e, bytes, n, now_of(&run));
}

static void damaged_bytes_do_no_harm(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 200; seed < 203; seed++) {
        uint8_t *bytes;
        size_t n = snapshot(seed, &bytes);
        int64_t ms = run.ms;
        for (int trial = 0; trial < 25; trial++) {
            uint8_t *damaged = malloc(n);
            memcpy(damaged, bytes, n);
            for (unsigned k = 0; k < 1 + roll(12); k++)
                damaged[roll((unsigned)n)] ^= (uint8_t)(1u << roll(8));
            size_t kept = roll(5) == 0 ? roll((unsigned)n) : n;
            run.ms = ms;
            wake(damaged, kept);
            free(damaged);
            lives_on(&run, 400);
            run_fini(&run);
        }
        free(bytes);
    }
    run_init(&run, log_a);
}

static uint32_t word_at(const uint8_t *b)
{
    return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

/* Damages the bodies of sections and makes their checksums fit again: written by another version, or by hand.
 */
static void damage_and_sign(uint8_t *bytes, size_t n)
{
    for (size_t at = 0; at + 16 <= n;) {
        uint32_t name = word_at(bytes + at + 4), body = word_at(bytes + at + 8);
        uint8_t *from = bytes + at + 16 + name;
        for (unsigned k = 0; body > 0 && k < 2 && roll(3) == 0; k++)
            from[roll(roll(2) ? body : (body < 200 ? body : 200))] = roll(3) ? (uint8_t)roll(256) : 0xff;
        uint32_t crc = checksum_crc32(0, bytes + at, 12);
        crc = checksum_crc32(crc, bytes + at + 16, name + body);
        for (int i = 0; i < 4; i++)
            bytes[at + 12 + (size_t)i] = (uint8_t)(crc >> (8 * i));
        at += 16 + name + body;
    }
}

static void plausible_damage_does_no_harm(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 300; seed < 303; seed++) {
        uint8_t *bytes;
        size_t n = snapshot(seed, &bytes);
        int64_t ms = run.ms;
        for (int trial = 0; trial < 40; trial++) {
            uint8_t *damaged = malloc(n);
            memcpy(damaged, bytes, n);
            damage_and_sign(damaged, n);
            run.ms = ms;
            wake(damaged, n);
            free(damaged);
            is_sane(&run);
            for (int i = 400; i < 460; i++)
                play(&run, &script[i]);
            wait_to(&run, run.ms + MS_PER_DAY);
            is_sane(&run);
            run_fini(&run);
        }
        free(bytes);
    }
    run_init(&run, log_a);
}

#define WITH_SITE(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SITE(retained_without_own_time_is_nothing),
        WITH_SITE(retained_with_own_time_is_news_once),
        WITH_SITE(late_duplicate_and_conflict),
        WITH_SITE(late_values_drive_nothing),
        WITH_SITE(a_time_ahead_of_the_clock_is_not_the_newest),
        WITH_SITE(a_value_waits_for_its_spike_verdict),
        WITH_SITE(without_a_successor_it_is_taken_when_the_gap_runs_out),
        WITH_SITE(a_spike_does_not_freshen),
        WITH_SITE(what_is_kept_out_does_not_freshen),
        WITH_SITE(unreadable_speaks_for_the_silence_it_causes),
        WITH_SITE(a_rate_flag_hides_nothing_from_a_limit),
        WITH_SITE(a_probe_never_seen_is_told),
        WITH_SITE(a_place_that_does_not_carry_that_make_is_not_silent),
        WITH_SITE(silence_freezes_limits_and_heater_and_clears_nothing),
        WITH_SITE(off_delay_does_not_run_out_in_silence),
        WITH_SITE(the_second_probe_speaks_when_the_first_is_silent),
        WITH_SITE(a_later_silence_is_told_by_itself),
        WITH_SITE(silent_together_is_one_message),
        WITH_SITE(one_stuck_of_two_is_told_once),
        WITH_SITE(a_raw_probe_is_stuck_though_its_value_moves),
        WITH_SITE(without_the_broker_silence_means_nothing),
        WITH_SITE(a_restart_while_the_broker_is_away_forgets_no_probe),
        WITH_SITE(conductivity_takes_its_own_tank_s_temperature),
        WITH_SITE(a_calibration_holds_from_now_on),
        WITH_SITE(any_wet_detector_is_a_leak_until_all_are_dry),
        WITH_SITE(a_drowned_detector_clears_nothing),
        WITH_SITE(a_leak_is_told_in_a_service_window_too),
        WITH_SITE(a_service_window_ends_by_itself),
        WITH_SITE(a_command_before_the_first_verdict),
        WITH_SITE(refusals_are_sentences),
        WITH_SITE(a_long_stop_matures_no_delay_without_a_value),
        WITH_SITE(what_began_while_down_is_told),
        WITH_SITE(the_room_always_suffices),
        WITH_SITE(a_cut_anywhere_changes_nothing),
        WITH_SITE(other_tanks_order_changes_nothing),
        WITH_SITE(damaged_bytes_do_no_harm),
        WITH_SITE(plausible_damage_does_no_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
