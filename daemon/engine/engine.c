#include "engine/state.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/forecast_watch.h"

#define EVAL_MS MS_PER_MIN

/* --- effects --- */

struct effect *effect_add(struct effects *fx, enum effect_kind kind, struct now now)
{
    static struct effect nowhere;
    if (fx->count == EFFECTS_MAX) {
        fx->lost++;
        return &nowhere;
    }
    struct effect *e = &fx->items[fx->count++];
    e->kind = kind;
    e->t = now.utc;
    return e;
}

void event_add(struct effects *fx, struct now now, enum event_kind kind, int place, enum quantity q,
               double value, const char *format, ...)
{
    struct event *event = &effect_add(fx, EFFECT_EVENT, now)->u.event;
    *event = (struct event){ .kind = kind, .place = place, .quantity = q, .value = value };
    va_list args;
    va_start(args, format);
    vsnprintf(event->text, sizeof event->text, format, args);
    va_end(args);
}

void tank_changed(struct effects *fx, struct now now, int tank)
{
    if (tank < 0)
        return;
    for (size_t i = 0; i < fx->count; i++)
        if (fx->items[i].kind == EFFECT_TANK && fx->items[i].u.tank == tank)
            return;
    effect_add(fx, EFFECT_TANK, now)->u.tank = tank;
}

/* --- finding things --- */

int slot_find(const struct site *site, int place, enum alert_kind kind, enum quantity q)
{
    for (int i = site->first_alert[place]; i < site->first_alert[place + 1]; i++)
        if (site->alerts[i].kind == kind && site->alerts[i].quantity == q)
            return i;
    return -1;
}

bool alert_is_active(const struct engine *e, int place, enum alert_kind kind, enum quantity q)
{
    int slot = place < 0 ? -1 : slot_find(e->site, place, kind, q);
    return slot >= 0 && e->alarms.items[slot].pub.active;
}

int speaking_stream(const struct engine *e, int place, enum quantity q)
{
    int first = site_stream_of(e->site, place, q);
    int s = first;
    while (s >= 0) {
        if (e->streams[s].seen && !e->streams[s].silent)
            return s;
        s = e->site->streams[s].twin;
        if (s == first)
            break;
    }
    return first;
}

double value_now(const struct engine *e, int place, enum quantity q)
{
    int s = speaking_stream(e, place, q);
    return s < 0 || e->streams[s].silent ? NAN : e->streams[s].value;
}

/* --- timers --- */

void stream_timer_set(struct engine *e, int stream, enum stream_timer which, mono_t due)
{
    timers_set(&e->timers, e->stream_timers + stream * STREAM_TIMERS + (int)which, due);
}

void tank_timer_set(struct engine *e, int tank, enum tank_timer which, mono_t due)
{
    timers_set(&e->timers, e->tank_timers + tank * TANK_TIMERS + (int)which, due);
}

/* On whole minutes of the wall clock, so that a restart evaluates at the same instants. */
static mono_t next_eval(struct now now)
{
    return mono_add(now.mono, EVAL_MS - ((now.utc.ms % EVAL_MS) + EVAL_MS) % EVAL_MS);
}

/* --- life --- */

static void init_stream(struct engine *e, int i, struct now now)
{
    struct stream_state *s = &e->streams[i];
    const struct probe_value *value = site_stream_value(e->site, i);
    memset(s, 0, sizeof *s);
    gate_init(&s->gate, &value->gate, value->every_s, &e->arena);
    window_init(&s->day, DAY_BIN_MS, 2 * MS_PER_DAY, &e->arena);
    window_init(&s->days, LONG_BIN_MS, LONG_SPAN_MS, &e->arena);
    waiting_room_init(&s->untimed, &e->arena);
    fitting_init(&s->fitting, &value->calib);
    noise_init(&s->noise);
    s->value = s->last.value = s->battery = s->link = NAN;
    s->value_t = UTC_NONE;
    s->last.stream = s->gate.pending.stream = i;
    s->fresh_at = now.mono;
    stream_timer_set(e, i, STREAM_HELD, MONO_NEVER);
    stream_timer_set(e, i, STREAM_SILENT, mono_add(now.mono, health_stale_ms(e, i)));
}

static void init_tank(struct engine *e, int i, struct now now)
{
    struct tank_state *t = &e->tanks[i];
    memset(t, 0, sizeof *t);
    heater_init(&t->heater);
    solids_init(&t->solids);
    t->ph = (struct ph_creep){ { .usual = NAN }, { .usual = NAN }, NAN };
    t->told = (struct told_change){ UTC_NONE, 0, false, NAN };
    t->service_until = t->last_change = UTC_NONE;
    t->last_step_ec = NAN;
    tank_timer_set(e, i, TANK_EVAL, next_eval(now));
    tank_timer_set(e, i, TANK_SERVICE, MONO_NEVER);
    tank_timer_set(e, i, TANK_STEP, MONO_NEVER);
}

static void forget_forecast(struct engine *e, int slot)
{
    e->forecasts[slot] = (struct forecast_told){ .f = FORECAST_NONE, .made = UTC_NONE };
}

struct engine *engine_init(const struct site *site, struct now now)
{
    struct arena arena = { 0 };
    struct engine *e = arena_take(&arena, 1, sizeof *e);
    e->arena = arena;
    e->site = site;
    e->started = now;
    timekeep_init(&e->clock, now);
    int alert_timers = site->alert_count * ALARM_TIMERS;
    e->flood_timer = alert_timers;
    e->stream_timers = alert_timers + 1;
    e->tank_timers = e->stream_timers + site->stream_count * STREAM_TIMERS;
    e->site_timer = e->tank_timers + site->tank_count * TANK_TIMERS;
    timers_init(&e->timers, e->site_timer + 1, &e->arena);
    alarms_init(&e->alarms, site, &e->timers, 0, &e->arena);
    e->alarms.explain = cause_explain;
    e->alarms.leader = cause_leader;
    e->alarms.admit = traffic_watch_admit;
    e->alarms.remark = traffic_watch_remark;
    traffic_init(&e->traffic, site->alert_count, &e->arena);
    e->habits = arena_take(&e->arena, (size_t)site->alert_count, sizeof *e->habits);
    for (int i = 0; i < site->alert_count; i++)
        habit_init(&e->habits[i]);
    e->alarms.context = e;
    e->forecasts = arena_take(&e->arena, (size_t)site->alert_count, sizeof *e->forecasts);
    for (int i = 0; i < site->alert_count; i++)
        forget_forecast(e, i);
    e->streams = arena_take(&e->arena, (size_t)site->stream_count, sizeof *e->streams);
    for (int i = 0; i < site->stream_count; i++)
        init_stream(e, i, now);
    e->tanks = arena_take(&e->arena, (size_t)site->tank_count, sizeof *e->tanks);
    for (int i = 0; i < site->tank_count; i++)
        init_tank(e, i, now);
    timers_set(&e->timers, e->site_timer, next_eval(now));
    return e;
}

static void forget_alert(struct engine *e, int slot)
{
    alarm_forget(&e->alarms, slot);
    traffic_forget(&e->traffic, slot);
    forget_forecast(e, slot);
}

static void forget_counts(struct engine *e)
{
    memset(&e->counts, 0, sizeof e->counts);
    memset(&e->scores, 0, sizeof e->scores);
    traffic_forget_all(&e->traffic);
}

void engine_forget(struct engine *e, enum section kind, int i, struct now now)
{
    if (kind == SECTION_STREAM)
        init_stream(e, i, now);
    else if (kind == SECTION_ALERT)
        forget_alert(e, i);
    else if (kind == SECTION_TANK)
        init_tank(e, i, now);
    else if (kind == SECTION_HABIT)
        habit_init(&e->habits[i]);
    else if (kind == SECTION_COUNTS)
        forget_counts(e);
    else
        timekeep_init(&e->clock, now);
}

void engine_fini(struct engine *e)
{
    if (e == NULL)
        return;
    struct arena arena = e->arena;
    arena_fini(&arena);
}

/* --- the walk of one value --- */

/* What a probe measures in the air is no history of the water. */
static bool hangs_in_air(const struct engine *e, int stream)
{
    const struct stream *s = &e->site->streams[stream];
    return is_immersed(s->quantity) && e->site->places[s->place].tank >= 0 &&
           alert_is_active(e, s->place, KIND_OUT_OF_WATER, Q_COUNT);
}

static void release(struct engine *e, int stream, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    s->held.waiting = false;
    stream_timer_set(e, stream, STREAM_HELD, MONO_NEVER);
    double before = s->value;
    s->value = s->held.v;
    s->value_t = s->held.t;
    air_look(e, stream, before, s->value, now, fx);
    if (!hangs_in_air(e, stream)) {
        window_add(&s->day, s->held.t, s->held.v);
        window_add(&s->days, s->held.t, s->held.v);
    }
    enum quantity q = e->site->streams[stream].quantity;
    if (q == Q_LEAK || speaking_stream(e, e->site->streams[stream].place, q) == stream)
        rules_input(e, stream, s->held.v, s->held.t, now, fx);
}

/* The spike verdict of the held value has settled: let it in, or keep it out and take its freshness back. */
static void settle(struct engine *e, int stream, const struct reading *revised, struct now now,
                   struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    struct reading *r = &effect_add(fx, EFFECT_READING, now)->u.reading;
    *r = *revised;
    r->stream = stream;
    health_verdict(e, stream, revised, now, fx);
    if (!s->held.waiting || s->held.t.ms != revised->t.ms)
        return;
    if (verdict_get(revised->tests, TEST_SPIKE) == FLAG_FAIL) {
        e->counts.kept_out++;
        s->held.waiting = false;
        stream_timer_set(e, stream, STREAM_HELD, MONO_NEVER);
        s->fresh_at = s->held.fresh_before;
    } else {
        release(e, stream, now, fx);
    }
}

static bool spike_is_judged(const struct gate_limits *limits)
{
    return !isnan(limits->spike_suspect) || !isnan(limits->spike_fail);
}

static void hold(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    if (s->held.waiting) /* a new segment begins: nothing will settle the old one any more */
        release(e, stream, now, fx);
    s->held = (struct held){ true, r->value, r->t, s->fresh_at };
    s->last = *r;
    health_fresh(e, stream, now, fx);
    const struct gate_limits *limits = s->gate.limits;
    if (!spike_is_judged(limits))
        release(e, stream, now, fx);
    else if (!isnan(limits->gap_suspect_s))
        stream_timer_set(e, stream, STREAM_HELD,
                         mono_add(now.mono, (int64_t)llround(limits->gap_suspect_s * 1000)));
}

const struct gate_point *twin_point(const struct engine *e, int stream)
{
    int twin = e->site->streams[stream].twin;
    return twin < 0 || !e->streams[twin].seen ? NULL : &e->streams[twin].gate.last;
}

static bool retained_is_news(const struct sample *s, enum time_basis basis)
{
    return utc_is_set(s->claimed) && basis == TIME_OWN;
}

static void count_known(struct engine *e, int stream, const struct reading *r, enum gate_arrival as,
                        struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    if (as == GATE_DUPLICATE) {
        s->duplicates++;
        e->counts.duplicates++;
        return;
    }
    s->conflicts++;
    e->counts.conflicts++;
    char when[UTC_TEXT_MAX];
    event_add(fx, now, EVENT_CONFLICT, e->site->streams[stream].place, e->site->streams[stream].quantity,
              r->value, "a second, different value for %s: the first stays",
              utc_format(r->t, when, sizeof when));
}

static void take(struct engine *e, int stream, struct reading *r, const struct sample *sample, struct now now,
                 struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    struct reading revised;
    bool has_revised;
    enum gate_arrival as =
        gate_judge(&s->gate, r, sample->kind, twin_point(e, stream), &revised, &has_revised);
    if (as == GATE_DUPLICATE || as == GATE_CONFLICT) {
        count_known(e, stream, r, as, now, fx);
        return;
    }
    if (has_revised)
        settle(e, stream, &revised, now, fx);
    effect_add(fx, EFFECT_READING, now)->u.reading = *r;
    e->counts.readings++;
    if (as == GATE_LATE) {
        s->late++;
        e->counts.late++;
        if (r->basis != TIME_OWN) /* the clock stepped back: as fresh as ever */
            timekeep_feed(e, stream, r, now, fx);
        return;
    }
    health_arrived(e, stream, r, sample->kind, now, fx);
    if (gate_usable(r)) {
        if (!hangs_in_air(e, stream))
            health_noise(e, stream, r, now, fx);
        hold(e, stream, r, now, fx);
    } else {
        e->counts.kept_out += isnan(r->value) ? 0 : 1;
    }
    tank_changed(fx, now, e->site->places[e->site->streams[stream].place].tank);
}

/* No believed time yet: the alarms have it at once, the history when the clock is believed. */
static void wait_for_clock(struct engine *e, struct reading *r, const struct sample *sample, struct now now,
                           struct effects *fx)
{
    const struct reading untimed = { .stream = r->stream, .sent = NAN, .value = NAN };
    if (sample->kind == SAMPLE_VALUE) {
        r->sent = sample->sent;
        r->value = derive_value(e, sample, UTC_CEIL);
    }
    health_arrived(e, r->stream, &untimed, sample->kind, now, fx);
    timekeep_hold(e, r->stream, r, (int)sample->kind, now);
    timekeep_feed(e, r->stream, r, now, fx);
}

void engine_ingest(struct engine *e, const struct sample *sample, bool retained, struct now now,
                   struct effects *fx)
{
    struct stream_state *s = &e->streams[sample->stream];
    struct reading r = { .stream = sample->stream, .sent = NAN, .value = NAN };
    fx->count = 0;
    timekeep_follow(e, now, fx);
    s->received++;
    r.t = derive_time(e, sample, now, &r.basis);
    if (!retained)
        health_device(e, sample, now, fx);
    if (sample->kind == SAMPLE_ABSENT)
        return;
    if (r.basis == TIME_NOT_ZONED || r.basis == TIME_FUTURE || r.basis == TIME_OLD)
        e->counts.times++;
    if (retained && !retained_is_news(sample, r.basis)) {
        s->retained++;
        e->counts.retained++;
        return;
    }
    if ((e->clock.sure || r.basis == TIME_OWN) && r.t.ms > s->gate.newest.ms)
        exchange_hear(e, sample, r.t, now, fx);
    if (sample->kind == SAMPLE_SYNTAX || sample->kind == SAMPLE_UNIT)
        health_rejected(e, sample);
    if (!e->clock.sure && r.basis != TIME_OWN) {
        wait_for_clock(e, &r, sample, now, fx);
        return;
    }
    if (sample->kind == SAMPLE_VALUE) {
        r.sent = sample->sent;
        r.value = derive_value(e, sample, r.t);
    }
    take(e, sample->stream, &r, sample, now, fx);
}

/* --- time passes --- */

static void stream_due(struct engine *e, int id, struct now now, struct effects *fx)
{
    int stream = id / STREAM_TIMERS;
    if (id % STREAM_TIMERS == STREAM_HELD) {
        if (e->streams[stream].held.waiting)
            release(e, stream, now, fx);
    } else {
        health_silent(e, stream, now, fx);
    }
}

static void tank_due(struct engine *e, int id, struct now now, struct effects *fx)
{
    int tank = id / TANK_TIMERS;
    if (id % TANK_TIMERS == TANK_SERVICE) {
        service_end(e, tank, now, fx);
        return;
    }
    if (id % TANK_TIMERS == TANK_STEP) {
        service_learn(e, tank, now, fx);
        return;
    }
    tank_timer_set(e, tank, TANK_EVAL, next_eval(now));
    air_watch(e, tank, now, fx);
    heater_watch(e, tank, now, fx);
    solids_watch(e, tank, now, fx);
    ph_watch(e, tank, now, fx);
    doubt_twins(e, e->site->tanks[tank].place, now, fx);
}

static void site_due(struct engine *e, struct now now, struct effects *fx)
{
    timers_set(&e->timers, e->site_timer, next_eval(now));
    climate_watch(e, now, fx);
    power_watch(e, now, fx);
    waters_watch(e, now, fx);
    forecast_watch(e, now, fx);
}

bool engine_advance(struct engine *e, struct now now, bool inclusive, struct effects *fx)
{
    fx->count = 0;
    timekeep_follow(e, now, fx);
    if (timekeep_fill(e, now, fx))
        return true;
    while (fx->count < EFFECTS_MAX / 2) {
        mono_t due = timers_next(&e->timers);
        int id = timers_take(&e->timers, now.mono, inclusive);
        if (id < 0)
            return false;
        struct now then = { utc_of_mono(due, now), due, now.trusted };
        if (id == e->flood_timer)
            traffic_watch_flood_due(e, then, fx);
        else if (id < e->stream_timers)
            alarm_due(&e->alarms, id / ALARM_TIMERS, (enum alarm_timer)(id % ALARM_TIMERS), then, fx);
        else if (id < e->tank_timers)
            stream_due(e, id - e->stream_timers, then, fx);
        else if (id < e->site_timer)
            tank_due(e, id - e->tank_timers, then, fx);
        else
            site_due(e, then, fx);
    }
    return true;
}

mono_t engine_next_deadline(const struct engine *e)
{
    return timers_next(&e->timers);
}

void engine_service(struct engine *e, enum alert_kind kind, bool wrong, const char *evidence, struct now now,
                    struct effects *fx)
{
    fx->count = 0;
    if (kind == KIND_BROKER_DOWN && wrong != e->link_down) {
        e->link_down = wrong;
        health_link(e, wrong, now);
    }
    int slot = slot_find(e->site, e->site->service_place, kind, Q_COUNT);
    if (slot < 0)
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    if (wrong)
        snprintf(pub->evidence, sizeof pub->evidence, "%s", evidence);
    alarm_judge(&e->alarms, slot, wrong ? TRI_YES : TRI_NO, NAN, NAN, now, fx);
}

const struct alert *engine_alert(const struct engine *e, int slot)
{
    return &e->alarms.items[slot].pub;
}

struct engine_counts engine_counts(const struct engine *e)
{
    return e->counts;
}
