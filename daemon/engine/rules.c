/* Limit rules of a tank. Each answers NO, YES, cannot judge, or as it was. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#define SWING_SPAN_MS MS_PER_DAY
#define FAST_SPAN_MS  MS_PER_HOUR
#define FAST_MEAN_MS  (15 * MS_PER_MIN)
#define CYCLE_MARGIN  1.2
#define STEADY_MS     (15 * MS_PER_MIN)
#define WET           0.5 /* of a detector that says 0 dry, 1 wet */

static void judge(struct engine *e, int place, enum alert_kind kind, enum quantity q, double v, double limit,
                  bool high, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, q);
    if (slot < 0)
        return;
    enum tri condition = alarm_compare(v, limit, e->site->alerts[slot].settings.deadband, high);
    alarm_judge(&e->alarms, slot, condition, v, limit, now, fx);
}

/* Conductivity probes are noisy and dissolved solids slow: their limits judge the mean of the last minutes.
 */
static double steady(const struct engine *e, int stream, enum quantity q, double v, utc_t t)
{
    if (q != Q_EC && q != Q_TDS)
        return v;
    double mean = window_mean_over(&e->streams[stream].day, t, STEADY_MS);
    return isnan(mean) ? v : mean;
}

static void rule_band(struct engine *e, const struct tank *tank, enum quantity q, double v, struct now now,
                      struct effects *fx)
{
    judge(e, tank->place, KIND_LOW, q, v, tank->band[q].lo, false, now, fx);
    judge(e, tank->place, KIND_HIGH, q, v, tank->band[q].hi, true, now, fx);
}

/* Range over the rolling day, changes by service windows apart. */
static void rule_swing(struct engine *e, const struct tank *tank, enum quantity q, int stream, utc_t t,
                       struct now now, struct effects *fx)
{
    if (isnan(tank->day_range[q]))
        return;
    double range =
        service_range(e, e->site->places[tank->place].tank, &e->streams[stream].day, t, SWING_SPAN_MS);
    judge(e, tank->place, KIND_SWING, q, range, tank->day_range[q], true, now, fx);
}

/* The thermostat's own cycle, once learnt, is what the tank always does. */
static double fast_limit(const struct engine *e, const struct tank *tank, enum quantity q)
{
    const struct heater *h = &e->tanks[e->site->places[tank->place].tank].heater;
    double cycle = q == Q_TEMP && h->heating_seen ? CYCLE_MARGIN * (h->band_hi_c - h->band_lo_c) : 0;
    return fmax(tank->per_hour[q], cycle);
}

/* Change over an hour, between means of a quarter of an hour: noise and a thermostat's own cycle weigh
 * little. The work of a service window, and the first hours after it, are no change of the tank's own. */
static void rule_fast(struct engine *e, const struct tank *tank, enum quantity q, int stream, utc_t t,
                      struct now now, struct effects *fx)
{
    const struct window *w = &e->streams[stream].day;
    if (isnan(tank->per_hour[q]) ||
        service_disturbs(e, e->site->places[tank->place].tank, t, 2 * FAST_SPAN_MS))
        return;
    double change = window_mean_over(w, t, FAST_MEAN_MS) -
                    window_mean_over(w, (utc_t){ t.ms - FAST_SPAN_MS }, FAST_MEAN_MS);
    if (!isnan(change))
        judge(e, tank->place, KIND_FAST, q, fabs(change), fast_limit(e, tank, q), true, now, fx);
}

/* Solids go up and down within a day, by evaporation and by what temperature does to the probe; where a tank
 * stands is the day's mean. */
static double stands_at(const struct engine *e, int stream, enum quantity q, double v, utc_t t)
{
    if (stream < 0 || (q != Q_EC && q != Q_TDS))
        return v;
    double mean = window_mean_over(&e->streams[stream].days, t, MS_PER_DAY);
    return isnan(mean) ? v : mean;
}

/* Distance from the water's target. stream: -1 by hand. */
static void rule_drift(struct engine *e, const struct tank *tank, enum quantity q, int stream, double v,
                       utc_t t, struct now now, struct effects *fx)
{
    if (tank->water < 0)
        return;
    const struct water *water = &e->site->waters[tank->water];
    if (isnan(water->target[q]) || isnan(water->drift[q]))
        return;
    v = stands_at(e, stream, q, v, t);
    judge(e, tank->place, KIND_DRIFT, q, fabs(v - water->target[q]), water->drift[q], true, now, fx);
}

bool rules_wet(const struct engine *e, int place)
{
    int first = site_stream_of(e->site, place, Q_LEAK), s = first;
    while (s >= 0) {
        if (e->streams[s].value >= WET && !e->streams[s].silent)
            return true;
        s = e->site->streams[s].twin;
        if (s == first)
            break;
    }
    return false;
}

/* Any detector of the place will do; it is dry when all are, and when a tank's level tells of no leak either.
 */
static void rule_leak(struct engine *e, int place, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, KIND_LEAK, Q_COUNT), tank = e->site->places[place].tank;
    bool wet = rules_wet(e, place);
    if (slot < 0 || (!wet && tank >= 0 && e->tanks[tank].solids.cause == SOLIDS_LEAK))
        return;
    snprintf(e->alarms.items[slot].pub.evidence, ALERT_EVIDENCE_MAX, "the leak detector is %s",
             wet ? "wet" : "dry");
    alarm_judge(&e->alarms, slot, wet ? TRI_YES : TRI_NO, wet ? 1 : 0, NAN, now, fx);
}

void rules_input(struct engine *e, int stream, double v, utc_t t, struct now now, struct effects *fx)
{
    const struct stream *s = &e->site->streams[stream];
    calibrate_due(e, stream, now, fx);
    int index = e->site->places[s->place].tank;
    if (s->quantity == Q_LEAK)
        rule_leak(e, s->place, now, fx);
    if (index < 0)
        return;
    const struct tank *tank = &e->site->tanks[index];
    if (s->quantity == Q_TEMP)
        heater_feed(&e->tanks[index].heater, v, t);
    double level = steady(e, stream, s->quantity, v, t);
    rule_band(e, tank, s->quantity, level, now, fx);
    rule_swing(e, tank, s->quantity, stream, t, now, fx);
    rule_fast(e, tank, s->quantity, stream, t, now, fx);
    rule_drift(e, tank, s->quantity, stream, level, t, now, fx);
    derive_rules(e, index, s->quantity, now, fx);
}

void rules_hand(struct engine *e, int tank, enum quantity q, double v, struct now now, struct effects *fx)
{
    rule_band(e, &e->site->tanks[tank], q, v, now, fx);
    rule_drift(e, &e->site->tanks[tank], q, -1, v, now.utc, now, fx);
    derive_rules(e, tank, q, now, fx);
}

void rules_unfounded(struct engine *e, int place, enum quantity q, struct now now, struct effects *fx)
{
    static const enum alert_kind limits[] = { KIND_LOW, KIND_HIGH, KIND_DRIFT };
    for (unsigned i = 0; i < sizeof limits / sizeof *limits; i++) {
        int slot = slot_find(e->site, place, limits[i], q);
        if (slot >= 0)
            alarm_judge(&e->alarms, slot, TRI_NO, NAN, NAN, now, fx);
    }
    int slot = slot_find(e->site, place, KIND_AMMONIA, Q_COUNT);
    if (q == Q_TAN && slot >= 0)
        alarm_judge(&e->alarms, slot, TRI_NO, NAN, NAN, now, fx);
}

void rules_freeze(struct engine *e, int place, enum quantity q)
{
    static const enum alert_kind limits[] = { KIND_LOW, KIND_HIGH, KIND_SWING, KIND_FAST, KIND_DRIFT };
    for (unsigned i = 0; i < sizeof limits / sizeof *limits; i++) {
        int slot = slot_find(e->site, place, limits[i], q);
        if (slot >= 0)
            alarm_freeze(&e->alarms, slot);
    }
    static const enum alert_kind heater[] = { KIND_HEATER_DEAD, KIND_HEATER_STUCK, KIND_HEATER_WEAK };
    if (q == Q_LEAK && slot_find(e->site, place, KIND_LEAK, Q_COUNT) >= 0)
        alarm_freeze(&e->alarms, slot_find(e->site, place, KIND_LEAK, Q_COUNT));
    for (unsigned i = 0; q == Q_TEMP && i < sizeof heater / sizeof *heater; i++) {
        int slot = slot_find(e->site, place, heater[i], Q_COUNT);
        if (slot >= 0)
            alarm_freeze(&e->alarms, slot);
    }
}
