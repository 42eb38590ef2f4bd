/* Tanks of one circuit or rack that stop heating together: the circuit has lost power. Looked at once a
 * minute. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#include "base/text.h"

#define NO_POWER_W    1.0
#define LEAST_IDLE    2
#define LEAST_SPREADS 6.0 /* of all idle ones together */
#define FEW_SPREADS   9.0 /* of less than half: thermostats fall into step now and then */
#define EACH_SPREADS  1.5
#define SILENCE_MOST  3.0 /* spreads that the silence of the others is worth */
#define HOLD_CHANCE   0.3 /* a tank alone is not told while the others' silence is no likelier than that */
#define HOLD_MOST_MIN 12
#define TOGETHER_MS   (15 * MS_PER_MIN)
#define LOAD_SPAN_MS  (7 * MS_PER_DAY)
#define LOAD_SKIP_MS  (2 * MS_PER_HOUR)
#define LOAD_LEAST_H  20

struct member {
    struct heater_view view;
    double idles, silence; /* silence: how likely it is for a healthy one */
    utc_t idle_since, heating_at;
};

struct circuit {
    int heated, idle, heating, warming, low;
    int covered; /* of the idle ones: told by another circuit or rack */
    double spreads;
    double silence;  /* of all that are not idle: how likely it is when all is well */
    utc_t last_heat; /* that anyone on it was seen to give */
    char names[ALERT_EVIDENCE_MAX];
};

static bool belongs(const struct tank *t, int place)
{
    return t->circuit == place || t->rack == place;
}

static bool look_at(struct engine *e, int tank, int place, utc_t now, struct member *m)
{
    const struct heater *h = &e->tanks[tank].heater;
    if (!belongs(&e->site->tanks[tank], place) || e->tanks[tank].in_service || !tank_is_heated(e, tank) ||
        !heater_view_of(e, tank, now, &m->view))
        return false;
    bool disturbed =
        utc_is_set(h->disturbed_until) && now.ms < h->disturbed_until.ms; /* its water was changed */
    m->idles = h->heating_seen && !disturbed ? heater_idles(h, &m->view) : 0;
    m->silence = disturbed ? 1 : heater_chance_of_silence(h, &m->view, now);
    m->idle_since = h->idle_since;
    m->heating_at = h->heating_at;
    return true;
}

static struct circuit count_heat(struct engine *e, int place, utc_t now)
{
    struct circuit c = { .last_heat = UTC_NONE, .silence = 1 };
    struct member m;
    for (int i = 0; i < e->site->tank_count; i++) {
        if (!look_at(e, i, place, now, &m))
            continue;
        c.heated++;
        c.low += m.view.below > 1;
        c.heating += heater_gives(&m.view);
        c.warming += heater_gives(&m.view) && m.view.slope_c_h > 0;
        if (utc_is_set(m.heating_at) && (!utc_is_set(c.last_heat) || m.heating_at.ms > c.last_heat.ms))
            c.last_heat = m.heating_at;
    }
    return c;
}

static bool is_told_at(const struct engine *e, int place)
{
    int slot = place < 0 ? -1 : slot_find(e->site, place, KIND_POWER_LOST, Q_COUNT);
    return slot >= 0 && (e->alarms.items[slot].pub.active || e->alarms.items[slot].condition == TRI_YES);
}

/* By the rack that it stands in when asked for its circuit, and the other way round. */
static bool is_covered(const struct engine *e, int tank, int place)
{
    const struct tank *t = &e->site->tanks[tank];
    return is_told_at(e, e->site->places[place].kind == PLACE_RACK ? t->circuit : t->rack);
}

static void add_idle(const struct engine *e, int tank, int place, const struct member *m, struct circuit *c,
                     struct text *names)
{
    c->spreads += m->idles;
    c->covered += is_covered(e, tank, place);
    text_printf(names, "%s%s %.1f °C %+.2f °C/h", c->idle++ > 0 ? ", " : "", e->site->tanks[tank].id,
                m->view.temp_c, m->view.slope_c_h);
}

/* One that stands idle for longer than the circuit was last seen to heat is a heater's own fault. */
static void count_idle(struct engine *e, int place, utc_t now, struct circuit *c)
{
    struct text names = text_over(c->names, sizeof c->names);
    struct member m;
    for (int i = 0; i < e->site->tank_count; i++) {
        if (!look_at(e, i, place, now, &m))
            continue;
        bool together = !utc_is_set(c->last_heat) || m.idle_since.ms >= c->last_heat.ms - TOGETHER_MS;
        if (m.idles >= EACH_SPREADS && together)
            add_idle(e, i, place, &m, c, &names);
        else if (!(m.idles >= EACH_SPREADS))
            c->silence *= m.silence;
    }
}

/* Something on it always takes power: none at all is a sign by itself. */
static bool always_loaded(const struct engine *e, int place, utc_t now)
{
    int s = speaking_stream(e, place, Q_POWER);
    if (s < 0)
        return false;
    struct window_range r = window_range(&e->streams[s].days, (utc_t){ now.ms - LOAD_SKIP_MS }, LOAD_SPAN_MS);
    return r.bins >= LOAD_LEAST_H && r.lo >= NO_POWER_W;
}

static bool is_told_elsewhere(const struct circuit *c)
{
    return c->idle > 0 && c->covered == c->idle;
}

/* Those that sink are told already: by the circuit of the rack, the rack of the circuit, or the room. */
static bool explained(const struct engine *e, const struct circuit *c)
{
    return is_told_elsewhere(c) || alert_is_active(e, e->site->room_place, KIND_ROOM_COLD, Q_COUNT);
}

static enum tri judge_measured(const struct engine *e, int place, const struct circuit *c, double power_w,
                               utc_t now)
{
    if (power_w >= NO_POWER_W)
        return TRI_NO;
    bool counts =
        c->idle > 0 || always_loaded(e, place, now) || alert_is_active(e, place, KIND_POWER_LOST, Q_COUNT);
    bool told = e->site->places[place].kind == PLACE_RACK && is_told_elsewhere(c);
    return told ? TRI_NO : counts ? TRI_YES : TRI_KEEP;
}

/* Idle ones speak by how far they sank, the others by how long they have been silent: but an opened window
 * brings all into step, so that their silence alone says nothing. */
static bool are_without_heat(const struct circuit *c)
{
    double silent = c->heating > 0 ? 0 : fmin(-log(c->silence), SILENCE_MOST);
    return c->idle >= LEAST_IDLE && c->idle >= c->heating &&
           c->spreads + silent >= (2 * c->idle < c->heated ? FEW_SPREADS : LEAST_SPREADS);
}

/* When power comes back all that are cold are heated at once. */
static bool heat_again(const struct circuit *c)
{
    return c->low == 0 || (c->warming > 0 && 2 * c->warming >= c->low);
}

static enum tri judge_power(const struct engine *e, int place, const struct circuit *c, double power_w,
                            utc_t now)
{
    if (!isnan(power_w))
        return judge_measured(e, place, c, power_w, now);
    bool active = alert_is_active(e, place, KIND_POWER_LOST, Q_COUNT);
    if (are_without_heat(c) && (active || !explained(e, c)))
        return TRI_YES;
    return active && !heat_again(c) ? TRI_KEEP : TRI_NO;
}

/* Nobody on it has given heat since that one should have, and that is no chance. */
static bool may_have_lost(struct engine *e, int place, int tank, utc_t now)
{
    if (place < 0 || slot_find(e->site, place, KIND_POWER_LOST, Q_COUNT) < 0 ||
        value_now(e, place, Q_POWER) >= NO_POWER_W)
        return false;
    struct circuit c = count_heat(e, place, now);
    count_idle(e, place, now, &c);
    utc_t since = e->tanks[tank].heater.idle_since;
    bool silent_since =
        !utc_is_set(c.last_heat) || !utc_is_set(since) || c.last_heat.ms <= since.ms + TOGETHER_MS;
    return c.heating == 0 && silent_since && (c.idle >= LEAST_IDLE || c.silence < HOLD_CHANCE);
}

bool power_holds(struct engine *e, int tank, struct now now)
{
    struct heater *h = &e->tanks[tank].heater;
    const struct tank *t = &e->site->tanks[tank];
    if (h->held_min >= HOLD_MOST_MIN || alert_is_active(e, t->circuit, KIND_POWER_LOST, Q_COUNT) ||
        alert_is_active(e, t->rack, KIND_POWER_LOST, Q_COUNT) ||
        !(may_have_lost(e, t->circuit, tank, now.utc) || may_have_lost(e, t->rack, tank, now.utc)))
        return false;
    h->held_min++;
    return true;
}

static void put_evidence(const struct circuit *c, double power_w, struct text *out)
{
    if (!isnan(power_w))
        text_printf(out, "measured power %.1f W for %d heated tanks", power_w, c->heated);
    if (!isnan(power_w) && c->idle > 0)
        text_printf(out, "; %d get no heat though they should", c->idle);
    else if (isnan(power_w))
        text_printf(out, "%d of %d heated tanks get no heat though they should, %d get some", c->idle,
                    c->heated, c->heating);
    if (c->idle > 0)
        text_printf(out, ": %.150s", c->names);
}

static void watch_circuit(struct engine *e, int place, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, KIND_POWER_LOST, Q_COUNT);
    if (slot < 0)
        return;
    struct circuit c = count_heat(e, place, now.utc);
    count_idle(e, place, now.utc, &c);
    double power_w = value_now(e, place, Q_POWER);
    enum tri condition = judge_power(e, place, &c, power_w, now.utc);
    struct alert *pub = &e->alarms.items[slot].pub;
    if (condition != TRI_KEEP) {
        struct text out = text_over(pub->evidence, sizeof pub->evidence);
        put_evidence(&c, power_w, &out);
    }
    alarm_judge(&e->alarms, slot, condition, c.idle, c.heated, now, fx);
}

void power_watch(struct engine *e, struct now now, struct effects *fx)
{
    for (int kind = PLACE_CIRCUIT; kind >= PLACE_RACK; kind--)
        for (int p = 0; p < e->site->place_count; p++)
            if (e->site->places[p].kind == (enum place_kind)kind)
                watch_circuit(e, p, now, fx);
}
