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
#define TOGETHER_MS   (15 * MS_PER_MIN)
#define LOAD_SPAN_MS  (7 * MS_PER_DAY)
#define LOAD_SKIP_MS  (2 * MS_PER_HOUR)
#define LOAD_LEAST_H  20

struct member {
    struct heater_view view;
    double idles;
    utc_t idle_since, heating_at;
};

struct circuit {
    int heated, idle, heating, low;
    double spreads;
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
    m->idle_since = h->idle_since;
    m->heating_at = h->heating_at;
    return true;
}

static struct circuit count_heat(struct engine *e, int place, utc_t now)
{
    struct circuit c = { .last_heat = UTC_NONE };
    struct member m;
    for (int i = 0; i < e->site->tank_count; i++) {
        if (!look_at(e, i, place, now, &m))
            continue;
        c.heated++;
        c.low += m.view.below > 1;
        c.heating += heater_gives(&m.view);
        if (utc_is_set(m.heating_at) && (!utc_is_set(c.last_heat) || m.heating_at.ms > c.last_heat.ms))
            c.last_heat = m.heating_at;
    }
    return c;
}

/* One that stands idle for longer than the circuit was last seen to heat is a heater's own fault. */
static void count_idle(struct engine *e, int place, utc_t now, struct circuit *c)
{
    struct text names = text_over(c->names, sizeof c->names);
    struct member m;
    for (int i = 0; i < e->site->tank_count; i++) {
        if (!look_at(e, i, place, now, &m) || m.idles < EACH_SPREADS)
            continue;
        if (utc_is_set(c->last_heat) && m.idle_since.ms < c->last_heat.ms - TOGETHER_MS)
            continue;
        c->spreads += m.idles;
        text_printf(&names, "%s%s %.1f °C %+.2f °C/h", c->idle++ > 0 ? ", " : "", e->site->tanks[i].id,
                    m.view.temp_c, m.view.slope_c_h);
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

/* A rack whose sinking tanks all hang on circuits that are told already adds nothing. */
static bool told_by_circuit(const struct engine *e, int rack)
{
    for (int i = 0; i < e->site->tank_count; i++)
        if (e->site->tanks[i].rack == rack &&
            alert_is_active(e, e->site->tanks[i].circuit, KIND_POWER_LOST, Q_COUNT))
            return true;
    return false;
}

static bool explained(const struct engine *e, int place)
{
    return (e->site->places[place].kind == PLACE_RACK && told_by_circuit(e, place)) ||
           alert_is_active(e, e->site->room_place, KIND_ROOM_COLD, Q_COUNT);
}

static enum tri judge_power(const struct engine *e, int place, const struct circuit *c, double power_w,
                            utc_t now)
{
    if (power_w < NO_POWER_W) {
        bool told = e->site->places[place].kind == PLACE_RACK && told_by_circuit(e, place);
        bool counts = c->idle > 0 || always_loaded(e, place, now) ||
                      alert_is_active(e, place, KIND_POWER_LOST, Q_COUNT);
        return told ? TRI_NO : counts ? TRI_YES : TRI_KEEP;
    }
    if (power_w >= NO_POWER_W)
        return TRI_NO;
    double spreads = 2 * c->idle < c->heated ? FEW_SPREADS : LEAST_SPREADS;
    if (c->idle >= LEAST_IDLE && c->spreads >= spreads && c->idle >= c->heating)
        return explained(e, place) ? TRI_NO : TRI_YES;
    return c->heating > 0 || c->low == 0 ? TRI_NO : TRI_KEEP;
}

static void put_evidence(const struct circuit *c, double power_w, struct text *out)
{
    if (!isnan(power_w))
        text_printf(out, "measured power %.1f W; ", power_w);
    text_printf(out, "%d of %d heated tanks get no heat though they should, %d get some", c->idle, c->heated,
                c->heating);
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
