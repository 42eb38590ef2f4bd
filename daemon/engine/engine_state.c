/* The engine's state as bytes and back. Sections are keyed by names, so that a changed configuration keeps
 * what it still has. What comes back is untrusted: a section that does not hold is dropped and its thing
 * starts afresh. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "engine/forecast_watch.h"

/* Bytes, each over what its fields take. */
#define STREAM_ROOM (4096 + UNTIMED_MAX * 32 + GATE_RECENT * 16)
#define BIN_ROOM    28
#define RUN_ROOM    24
#define POINT_ROOM  16
#define ALERT_ROOM  2304 /* with its habit */
#define TANK_ROOM   (3072 + Q_COUNT * (4 + HAND_KEPT * 32))
#define CATCH_UP_MS MS_PER_MIN

static void visit_timer(struct engine *e, int id, struct pack *p, struct now now)
{
    mono_t due = timers_due(&e->timers, id);
    bool set = due.ms != MONO_NEVER.ms;
    pack_bool(p, &set);
    if (set)
        pack_mono(p, &due, now);
    if (!p->reading || p->bad)
        return;
    /* What came due while nobody ran waits a little: the broker first hands over what it kept. */
    if (set && due.ms < now.mono.ms)
        due = mono_add(now.mono, CATCH_UP_MS);
    timers_set(&e->timers, id, set ? due : MONO_NEVER);
}

static void visit_held(struct stream_state *s, struct pack *p, struct now now)
{
    pack_bool(p, &s->held.waiting);
    pack_f64(p, &s->held.v, -1e12, 1e12);
    pack_utc(p, &s->held.t);
    pack_mono(p, &s->held.fresh_before, now);
}

static void visit_cadence(struct stream_state *s, struct pack *p)
{
    pack_i32(p, &s->step_count, 0, CADENCE_STEPS);
    pack_i32(p, &s->step_at, 0, CADENCE_STEPS - 1);
    for (int i = 0; i < s->step_count && !p->bad; i++) {
        double step = (double)s->steps_s[i];
        pack_f64(p, &step, 0, 1e9);
        s->steps_s[i] = (float)step;
    }
}

static void visit_counters(struct stream_state *s, struct pack *p)
{
    uint32_t *all[] = { &s->received,  &s->missing, &s->rejected, &s->duplicates,
                        &s->conflicts, &s->late,    &s->retained, &s->absent };
    for (unsigned i = 0; i < sizeof all / sizeof *all; i++)
        pack_u32(p, all[i]);
    pack_text(p, s->last_reason, sizeof s->last_reason);
    pack_text(p, s->last_sample, sizeof s->last_sample);
    pack_f64(p, &s->battery, -1e6, 1e6);
    pack_f64(p, &s->link, -1e6, 1e6);
}

static void visit_hours(struct stream_state *s, struct pack *p)
{
    for (int i = 0; i < SHARE_HOURS && !p->bad; i++) {
        pack_i32(p, &s->hours[i].hour, 0, INT32_MAX);
        pack_u32(p, &s->hours[i].total);
        pack_u32(p, &s->hours[i].good);
    }
}

static void visit_stream(struct engine *e, int stream, struct pack *p, struct now now)
{
    struct stream_state *s = &e->streams[stream];
    gate_visit(&s->gate, p);
    fitting_visit(&s->fitting, p, &site_stream_value(e->site, stream)->calib);
    pack_bool(p, &s->seen);
    pack_bool(p, &s->silent);
    pack_mono(p, &s->fresh_at, now);
    gate_visit_reading(&s->last, p);
    visit_held(s, p, now);
    pack_f64(p, &s->value, -1e12, 1e12);
    pack_utc(p, &s->value_t);
    visit_cadence(s, p);
    pack_i32(p, &s->bad_run, 0, INT32_MAX);
    noise_visit(&s->noise, p);
    pack_i32(p, &s->doubts, 0, 15);
    pack_i32(p, &s->odd_count, 0, 1000);
    pack_i32(p, &s->odd_of, 0, 1000);
    pack_i64(p, &s->flat_begin_ms, 0, INT64_MAX);
    pack_i64(p, &s->flat_end_ms, 0, INT64_MAX);
    pack_i64(p, &s->flat_longest_ms, 0, INT64_MAX);
    pack_i64(p, &s->flat_known_ms, 0, INT64_MAX);
    pack_f64(p, &s->flat_value, -1e12, 1e12);
    pack_i64(p, &s->flat_ended_ms, 0, INT64_MAX);
    pack_f64(p, &s->sent, -1e300, 1e300);
    pack_i64(p, &s->sent_since_ms, 0, INT64_MAX);
    pack_f64(p, &s->sent_step, 0, 1e300);
    waiting_room_visit(&s->untimed, p, now);
    e->clock.waiting = e->clock.waiting || s->untimed.count > 0;
    struct window none = { .cap = 0 };
    window_visit(e->daily && !p->reading ? &none : &s->day, p);
    window_visit(&s->days, p);
    visit_hours(s, p);
    visit_counters(s, p);
    for (int i = 0; i < STREAM_TIMERS; i++)
        visit_timer(e, e->stream_timers + stream * STREAM_TIMERS + i, p, now);
}

static void visit_hand(struct tank_state *t, struct pack *p)
{
    for (int q = 0; q < Q_COUNT && !p->bad; q++)
        hand_visit(&t->hand[q], (enum quantity)q, p);
    told_visit_change(&t->told, p);
}

static void visit_spans(struct tank_state *t, struct pack *p)
{
    pack_i32(p, &t->span_count, 0, SERVICE_SPANS);
    for (int i = 0; i < t->span_count && !p->bad; i++) {
        pack_utc(p, &t->spans[i].begin);
        pack_utc(p, &t->spans[i].end);
    }
    /* One that is open although no work goes on would leave out everything from then on. */
    if (!p->bad && t->span_count > 0 && !t->in_service && !utc_is_set(t->spans[t->span_count - 1].end))
        t->span_count--;
}

static void visit_tank(struct engine *e, int tank, struct pack *p, struct now now)
{
    struct tank_state *t = &e->tanks[tank];
    heater_visit(&t->heater, p);
    solids_visit(&t->solids, p);
    ph_visit(&t->ph, p);
    visit_hand(t, p);
    pack_bool(p, &t->in_service);
    pack_utc(p, &t->service_until);
    visit_spans(t, p);
    pack_utc(p, &t->last_change);
    pack_f64(p, &t->last_step_ec, -1e6, 1e6);
    pack_text(p, t->service_why, sizeof t->service_why);
    for (int i = 0; i < TANK_TIMERS; i++)
        visit_timer(e, e->tank_timers + tank * TANK_TIMERS + i, p, now);
}

static void visit_counts(struct engine *e, struct pack *p, struct now now)
{
    uint64_t *all[] = { &e->counts.readings,   &e->counts.missing,    &e->counts.rejected,
                        &e->counts.duplicates, &e->counts.conflicts,  &e->counts.late,
                        &e->counts.retained,   &e->counts.absent,     &e->counts.thinned,
                        &e->counts.unreadable, &e->counts.wrong_unit, &e->counts.times,
                        &e->counts.kept_out };
    for (unsigned i = 0; i < sizeof all / sizeof *all; i++)
        pack_u64(p, all[i]);
    pack_bool(p, &e->link_down);
    forecast_scores_visit(&e->scores, p);
    pack_i64(p, &e->notes, 0, INT64_MAX - 1);
    traffic_visit(&e->traffic, p, now);
}

/* --- names --- */

static void section_name(const struct engine *e, enum section kind, int i, char *buf)
{
    switch (kind) {
    case SECTION_CLOCK:
        snprintf(buf, PACK_NAME_MAX, "clock");
        break;
    case SECTION_STREAM:
        snprintf(buf, PACK_NAME_MAX, "probe %s", e->site->streams[i].name);
        break;
    case SECTION_ALERT:
        snprintf(buf, PACK_NAME_MAX, "alert %s", e->site->alerts[i].ref);
        break;
    case SECTION_TANK:
        snprintf(buf, PACK_NAME_MAX, "tank %s", e->site->tanks[i].id);
        break;
    case SECTION_HABIT:
        snprintf(buf, PACK_NAME_MAX, "habit %s", e->site->alerts[i].ref);
        break;
    case SECTION_COUNTS:
        snprintf(buf, PACK_NAME_MAX, "counts");
        break;
    }
}

/* now: in the frame of the saved times; the clock's own section sets it. */
static void visit(struct engine *e, enum section kind, int i, struct pack *p, struct now *now)
{
    switch (kind) {
    case SECTION_CLOCK:
        *now = timekeep_visit(&e->clock, p, *now);
        break;
    case SECTION_STREAM:
        visit_stream(e, i, p, *now);
        break;
    case SECTION_ALERT:
        alarm_visit(&e->alarms, i, p, *now);
        traffic_visit_alert(&e->traffic, i, p, *now);
        forecast_watch_visit(e, i, p);
        break;
    case SECTION_TANK:
        visit_tank(e, i, p, *now);
        break;
    case SECTION_HABIT:
        habit_visit(&e->habits[i], p, *now);
        e->alarms.items[i].pub.habitual = e->habits[i].is_one;
        break;
    case SECTION_COUNTS:
        visit_counts(e, p, *now);
        break;
    }
}

static int section_count(const struct engine *e, enum section kind)
{
    const int counts[] = {
        1, e->site->stream_count, e->site->alert_count, e->site->tank_count, e->site->alert_count, 1
    };
    return counts[kind];
}

size_t engine_save_room(const struct engine *e)
{
    size_t streams = 0;
    for (int i = 0; i < e->site->stream_count; i++) {
        const struct stream_state *s = &e->streams[i];
        streams += STREAM_ROOM + (size_t)(s->gate.highest.cap + s->gate.lowest.cap) * RUN_ROOM +
                   (size_t)s->gate.window_cap * POINT_ROOM + (size_t)(s->day.cap + s->days.cap) * BIN_ROOM;
    }
    return 1024 + streams + (size_t)e->site->alert_count * ALERT_ROOM +
           (size_t)e->site->tank_count * TANK_ROOM;
}

/* Alerts that nothing was ever known of are most of them: left out. */
static bool worth_saving(const struct engine *e, enum section kind, int i)
{
    if (kind == SECTION_STREAM)
        return !e->brief;
    if (kind == SECTION_HABIT)
        return mono_is_set(e->habits[i].raised[0]);
    if (kind != SECTION_ALERT)
        return true;
    const struct alert *pub = &e->alarms.items[i].pub;
    return e->alarms.items[i].condition != TRI_UNKNOWN || pub->unknown || !isnan(pub->value) ||
           utc_is_set(pub->since) || pub->marks != 0 || pub->who[0] != '\0' || pub->why[0] != '\0';
}

size_t engine_save(struct engine *e, uint8_t *bytes, size_t cap, struct now now)
{
    struct pack p = pack_writer(bytes, cap);
    char name[PACK_NAME_MAX];
    for (int kind = SECTION_CLOCK; kind <= SECTION_COUNTS; kind++)
        for (int i = 0; i < section_count(e, (enum section)kind); i++) {
            if (!worth_saving(e, (enum section)kind, i))
                continue;
            section_name(e, (enum section)kind, i, name);
            size_t mark = pack_begin(&p, name);
            visit(e, (enum section)kind, i, &p, &now);
            pack_end(&p, mark);
        }
    return p.bad ? 0 : p.at;
}

size_t engine_save_brief(struct engine *e, uint8_t *bytes, size_t cap, struct now now)
{
    e->brief = true;
    size_t n = engine_save(e, bytes, cap, now);
    e->brief = false;
    return n;
}

size_t engine_save_daily(struct engine *e, uint8_t *bytes, size_t cap, struct now now)
{
    e->daily = true;
    size_t n = engine_save(e, bytes, cap, now);
    e->daily = false;
    return n;
}

void engine_recall_value(struct engine *e, const struct reading *r, utc_t weeks_known)
{
    struct stream_state *s = &e->streams[r->stream];
    if (isnan(r->value) || !verdict_usable_for_limits(r->tests, r->flag == FLAG_MISSING))
        return;
    window_add(&s->day, r->t, r->value);
    if (r->t.ms > weeks_known.ms)
        window_add(&s->days, r->t, r->value);
}

/* Sections come in the order of the configuration they were written with: the search goes on from the last
 * hit. */
struct place_in_order {
    enum section kind;
    int i;
};

static bool find(const struct engine *e, const char *name, struct place_in_order *at)
{
    char candidate[PACK_NAME_MAX];
    struct place_in_order start = *at;
    do {
        if (++at->i >= section_count(e, at->kind)) {
            at->kind = at->kind == SECTION_COUNTS ? SECTION_CLOCK : (enum section)(at->kind + 1);
            at->i = -1;
            continue;
        }
        section_name(e, at->kind, at->i, candidate);
        if (strcmp(candidate, name) == 0)
            return true;
    } while (at->kind != start.kind || at->i != start.i);
    return false;
}

/* The service window of a tank whose section was lost must not keep its alerts quiet for ever: it ends soon.
 */
static void end_lost_service(struct engine *e, int tank, struct now now)
{
    int place = e->site->tanks[tank].place;
    if (e->tanks[tank].in_service)
        return;
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
        if (e->alarms.items[i].pub.marks & ALERT_BY_DESIGN)
            tank_timer_set(e, tank, TANK_SERVICE, mono_add(now.mono, CATCH_UP_MS));
}

/* A delay that ran out when its probes had been unheard for too long: their silence would have ended it. */
static void end_unheard_delay(struct engine *e, int slot, struct now now)
{
    const struct alert_slot *alert = &e->site->alerts[slot];
    mono_t due = timers_due(&e->timers, slot * ALARM_TIMERS + ALARM_DELAY);
    int first = alert->kind <= KIND_DRIFT ? site_stream_of(e->site, alert->place, alert->quantity) : -1;
    int s = first;
    if (first < 0 || due.ms > now.mono.ms)
        return;
    do {
        if (mono_add(e->streams[s].fresh_at, health_stale_ms(e, s)).ms >= due.ms)
            return;
        s = e->site->streams[s].twin;
    } while (s >= 0 && s != first);
    alarm_freeze(&e->alarms, slot);
}

static void mend(struct engine *e, struct now now)
{
    for (int i = 0; i < e->site->tank_count; i++)
        end_lost_service(e, i, now);
    for (int i = 0; i < e->site->alert_count; i++) {
        end_unheard_delay(e, i, now);
        alarm_restored(&e->alarms, i, now);
    }
    traffic_watch_restored(e, now);
}

int engine_restore(struct engine *e, const uint8_t *bytes, size_t n, struct now now)
{
    struct pack p = pack_reader(bytes, n), section;
    struct place_in_order at = { SECTION_CLOCK, -1 };
    struct now frame = now;
    char name[PACK_NAME_MAX];
    int taken = 0;
    while (pack_next(&p, name, &section, NULL)) {
        if (!find(e, name, &at))
            continue;
        visit(e, at.kind, at.i, &section, &frame);
        if (section.bad)
            engine_forget(e, at.kind, at.i, now);
        else
            taken++;
    }
    mend(e, now);
    return taken;
}
