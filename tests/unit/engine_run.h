/* For test_engine: a small site, its engine on a clock of its own, and all that it asked for as lines. */
#ifndef LENTIC_TESTS_ENGINE_RUN_H
#define LENTIC_TESTS_ENGINE_RUN_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "engine/engine.h"
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

#endif
