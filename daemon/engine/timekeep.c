#include "engine/timekeep.h"

#include <math.h>
#include <stdlib.h>

#include "engine/state.h"

#define JUMP_MS       (120 * MS_PER_S)
#define CONFIRM_MS    (5 * MS_PER_MIN)
#define FILL_AT_ONCE  60
#define FILL_FLOOR_MS INT64_C(1577836800000) /* 2020-01-01: before it no reading was ever taken */

void timekeep_init(struct timekeep *k, struct now now)
{
    *k = (struct timekeep){ .known = now.trusted,
                            .sure = now.trusted,
                            .offset_ms = now.utc.ms - now.mono.ms,
                            .doubt_since = MONO_NONE };
}

static void tell(struct effects *fx, struct now now, const char *what, int64_t step_ms)
{
    char span[32];
    event_add(fx, now, EVENT_CLOCK, -1, Q_COUNT, NAN, "%s%s", what,
              step_ms == 0 ? "" : span_format(llabs(step_ms), span, sizeof span));
}

/* False while a jump ahead still has to prove itself. */
static bool confirmed(struct timekeep *k, int64_t offset_ms, struct now now, struct effects *fx)
{
    if (!k->doubt || llabs(offset_ms - k->doubt_offset_ms) > JUMP_MS) {
        k->doubt = true;
        k->doubt_offset_ms = offset_ms;
        k->doubt_since = now.mono;
        tell(fx, now, "the clock jumped ahead, not believed until it has stood there for 5 min: by ",
             offset_ms - k->offset_ms);
    }
    return now.mono.ms - k->doubt_since.ms >= CONFIRM_MS;
}

static void set_right(utc_t *t, int64_t step_ms)
{
    if (utc_is_set(*t) && t->ms < FILL_FLOOR_MS)
        t->ms += step_ms;
}

/* What was raised before the clock was set gets its true time. */
static void fill_in_alerts(struct engine *e, int64_t step_ms)
{
    for (int i = 0; i < e->site->alert_count; i++) {
        struct alert *pub = &e->alarms.items[i].pub;
        set_right(&pub->since, step_ms);
        set_right(&pub->raised_at, step_ms);
        set_right(&pub->shelved_until, step_ms);
        set_right(&pub->out_until, step_ms);
    }
}

void timekeep_follow(struct engine *e, struct now now, struct effects *fx)
{
    struct timekeep *k = &e->clock;
    int64_t offset_ms = now.utc.ms - now.mono.ms, step_ms = offset_ms - k->offset_ms;
    if (!now.trusted) {
        k->sure = k->doubt = false;
        if (!k->known)
            k->offset_ms = offset_ms;
        return;
    }
    if (!k->known) {
        fill_in_alerts(e, step_ms);
        tell(fx, now, "the clock is set", 0);
    } else if (step_ms > JUMP_MS) {
        k->sure = false;
        if (!confirmed(k, offset_ms, now, fx))
            return;
        tell(fx, now, "the clock's jump ahead is believed: by ", step_ms);
    } else if (step_ms < -JUMP_MS) {
        tell(fx, now, "the clock stepped back by ", step_ms);
    } else if (k->doubt) {
        tell(fx, now, "the clock came back from its jump ahead", 0);
    }
    k->known = k->sure = true;
    k->doubt = false;
    k->offset_ms = offset_ms;
}

/* --- over a restart --- */

/* The saved frame's time at the restart. The machine may have been off: time forward has passed; a clock that
 * went back, or was set for the first time meanwhile, tells nothing of how long. */
static utc_t frame_now(utc_t wall_then, utc_t believed_then, struct now now)
{
    int64_t passed_ms = now.utc.ms - wall_then.ms;
    bool was_ahead = wall_then.ms - believed_then.ms > JUMP_MS;
    if (was_ahead && passed_ms < 0 && now.utc.ms >= believed_then.ms - JUMP_MS)
        return now.utc; /* the jump was taken back while nobody ran */
    bool unset = wall_then.ms < FILL_FLOOR_MS && now.utc.ms >= FILL_FLOOR_MS;
    return (utc_t){ believed_then.ms + (passed_ms < 0 || unset ? 0 : passed_ms) };
}

static void take_up(struct timekeep *k, const struct timekeep *then, utc_t frame, int64_t stood_ms,
                    struct now now)
{
    if (!then->known || !now.trusted)
        return;
    k->known = true;
    k->sure = !then->doubt;
    k->doubt = then->doubt;
    k->offset_ms = frame.ms - now.mono.ms;
    k->doubt_offset_ms = now.utc.ms - now.mono.ms;
    k->doubt_since = mono_add(now.mono, -stood_ms);
}

struct now timekeep_visit(struct timekeep *k, struct pack *p, struct now now)
{
    struct timekeep then = *k;
    utc_t wall = now.utc, believed = { now.mono.ms + k->offset_ms };
    if (!k->known || llabs(wall.ms - believed.ms) <= JUMP_MS)
        believed = wall; /* both go their ways by some milliseconds */
    int64_t stood_ms = k->doubt ? now.mono.ms - k->doubt_since.ms : 0;
    pack_bool(p, &then.known);
    pack_bool(p, &then.doubt);
    pack_utc(p, &wall);
    pack_utc(p, &believed);
    pack_i64(p, &stood_ms, 0, CONFIRM_MS);
    pack_u32(p, &then.thinned);
    if (!p->reading)
        return (struct now){ believed, now.mono, now.trusted };
    if (p->bad || !utc_is_set(wall) || !utc_is_set(believed))
        return now;
    utc_t frame = frame_now(wall, believed, now);
    take_up(k, &then, frame, stood_ms, now);
    k->thinned = then.thinned;
    return (struct now){ frame, now.mono, now.trusted };
}

/* --- what waits --- */

void waiting_room_init(struct waiting_room *w, struct arena *arena)
{
    w->items = arena_take(arena, UNTIMED_MAX, sizeof *w->items);
    w->count = 0;
}

void waiting_room_visit(struct waiting_room *w, struct pack *p, struct now now)
{
    pack_i32(p, &w->count, 0, UNTIMED_MAX);
    for (int i = 0; i < w->count && !p->bad; i++) {
        struct untimed *u = &w->items[i];
        pack_mono(p, &u->at, now);
        pack_f64(p, &u->sent, -1e300, 1e300);
        pack_f64(p, &u->value, -1e12, 1e12);
        pack_i32(p, &u->kind, 0, SAMPLE_UNIT);
        pack_i32(p, &u->basis, 0, TIME_BASIS_COUNT - 1);
    }
    if (p->bad)
        w->count = 0;
}

/* The whole stretch stays, at half the detail. */
static void thin(struct engine *e, struct waiting_room *w)
{
    int kept = 0;
    for (int i = 0; i < w->count; i += 2)
        w->items[kept++] = w->items[i];
    e->clock.thinned += (uint32_t)(w->count - kept);
    e->counts.thinned += (uint64_t)(w->count - kept);
    w->count = kept;
}

void timekeep_hold(struct engine *e, int stream, const struct reading *r, int kind, struct now now)
{
    struct waiting_room *w = &e->streams[stream].untimed;
    if (w->count == UNTIMED_MAX)
        thin(e, w);
    e->clock.waiting = true;
    w->items[w->count++] = (struct untimed){ now.mono, r->sent, r->value, kind, (int32_t)r->basis };
}

void timekeep_feed(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct stream *site = &e->site->streams[stream];
    if (isnan(r->value) || r->value < s->gate.limits->fail_lo || r->value > s->gate.limits->fail_hi)
        return;
    health_fresh(e, stream, now, fx);
    s->value = s->last.value = r->value;
    s->last.sent = r->sent;
    s->last.flag = FLAG_NOT_EVALUATED;
    if (speaking_stream(e, site->place, site->quantity) == stream)
        rules_input(e, stream, r->value, s->value_t, now, fx);
    tank_changed(fx, now, e->site->places[site->place].tank);
}

/* The stream whose oldest waiting reading is the oldest of all, so that twins are compared in order; -1. */
static int oldest(const struct engine *e)
{
    int best = -1;
    for (int i = 0; i < e->site->stream_count; i++) {
        const struct waiting_room *w = &e->streams[i].untimed;
        if (w->count > 0 && (best < 0 || w->items[0].at.ms < e->streams[best].untimed.items[0].at.ms))
            best = i;
    }
    return best;
}

static struct untimed take_first(struct waiting_room *w)
{
    struct untimed first = w->items[0];
    w->count--;
    for (int i = 0; i < w->count; i++)
        w->items[i] = w->items[i + 1];
    return first;
}

/* History only: the alarms have had it. */
static void fill_in(struct engine *e, int stream, const struct untimed *u, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    struct reading revised, r = { .stream = stream,
                                  .t = utc_of_mono(u->at, now),
                                  .sent = u->sent,
                                  .value = u->value,
                                  .basis = (enum time_basis)u->basis };
    bool has_revised;
    if (r.t.ms < FILL_FLOOR_MS)
        return;
    enum gate_arrival as =
        gate_judge(&s->gate, &r, (enum sample_kind)u->kind, twin_point(e, stream), &revised, &has_revised);
    if (as == GATE_DUPLICATE || as == GATE_CONFLICT)
        return;
    if (has_revised) {
        revised.stream = stream;
        effect_add(fx, EFFECT_READING, now)->u.reading = revised;
    }
    effect_add(fx, EFFECT_READING, now)->u.reading = r;
    e->counts.readings++;
    if (as == GATE_LATE || !gate_usable(&r))
        return;
    s->last = r;
    s->value_t = r.t;
    window_add(&s->day, r.t, r.value);
    window_add(&s->days, r.t, r.value);
}

static void tell_filled(const struct engine *e, struct now now, struct effects *fx)
{
    event_add(fx, now, EVENT_CLOCK, -1, Q_COUNT, NAN,
              "readings that waited for the clock have their times now; %u gave way for want of room",
              e->clock.thinned);
}

bool timekeep_fill(struct engine *e, struct now now, struct effects *fx)
{
    if (!e->clock.sure || !e->clock.waiting)
        return false;
    for (int i = 0; i < FILL_AT_ONCE; i++) {
        int stream = oldest(e);
        if (stream < 0) {
            tell_filled(e, now, fx);
            e->clock.waiting = false;
            e->clock.thinned = 0;
            return false;
        }
        struct untimed u = take_first(&e->streams[stream].untimed);
        fill_in(e, stream, &u, now, fx);
    }
    return true;
}
