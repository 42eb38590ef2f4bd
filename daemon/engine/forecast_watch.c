/* What the active alerts move towards, as told and as it came. */
#include "engine/forecast_watch.h"

#include <math.h>
#include <stdio.h>

#include "base/text.h"
#include "engine/approach.h"
#include "engine/state.h"

#define TEMP_SPAN_MS  (45 * MS_PER_MIN)
#define ROOM_SPAN_MS  (2 * MS_PER_HOUR) /* over a thermostat's cycles */
#define FAST_SPAN_MS  (25 * MS_PER_MIN)
#define WATER_SPAN_MS (150 * MS_PER_MIN)
#define UNDER_BAND_C  0.1
#define MODEL_SHARE   0.20 /* of a slope: what no fit sees */
#define CLIMB_SHARE   0.25 /* of a slope over days: feeding, weather */
#define REACHED_MS    (10 * MS_PER_MIN)
#define TEMP_MOST_H   48.0
#define WATER_MOST_H  (30 * 24.0)

/* --- how fast it moves --- */

/* Without heat it moves by Newton's law: where room and time constant are known, the two views are averaged,
 * and what lies between them is part of the doubt. */
static void join_free_cooling(const struct engine *e, int tank, struct approach_slope *s)
{
    const struct heater *h = &e->tanks[tank].heater;
    double room = value_now(e, e->site->room_place, Q_TEMP);
    double free = (room - s->value) / h->tau_h;
    if (!isfinite(free) || free * s->per_h <= 0)
        return;
    s->sd_per_h = hypot(s->sd_per_h, (s->per_h - free) / 2);
    s->per_h = (s->per_h + free) / 2;
}

static struct approach_slope temp_slope(const struct engine *e, int tank, int64_t span_ms, bool no_heat,
                                        struct now now)
{
    const struct window *w = day_window(e, e->site->tanks[tank].place, Q_TEMP);
    struct approach_slope s = { NAN, NAN, NAN };
    if (w != NULL)
        s = approach_slope_of(w, now.utc, span_ms);
    if (no_heat)
        join_free_cooling(e, tank, &s);
    s.sd_per_h = hypot(s.sd_per_h, MODEL_SHARE * s.per_h);
    return s;
}

static struct approach_slope climb_of_solids(const struct engine *e, int tank)
{
    const struct solids *solids = &e->tanks[tank].solids;
    double per_h = solids->slope_day / 24;
    return (struct approach_slope){ .value = value_now(e, e->site->tanks[tank].place, Q_EC),
                                    .per_h = per_h,
                                    .sd_per_h = hypot(CLIMB_SHARE * per_h,
                                                      solids->noise / (24 * solids->span_days)) };
}

static struct approach_slope recent_slope(const struct engine *e, int place, enum quantity q, struct now now)
{
    const struct window *w = day_window(e, place, q);
    struct approach_slope s = { NAN, NAN, NAN };
    if (w != NULL)
        s = approach_slope_of(w, now.utc, WATER_SPAN_MS);
    s.sd_per_h = hypot(s.sd_per_h, MODEL_SHARE * s.per_h);
    return s;
}

/* --- where it ends --- */

static utc_t after(struct now now, double hours)
{
    return isfinite(hours) ? (utc_t){ now.utc.ms + (int64_t)(hours * (double)MS_PER_HOUR) } : UTC_NONE;
}

/* Which way an alert is about; the way back from it needs no forecast. */
enum way { DOWN = -1, EITHER, UP };

static bool temp_reaches(const struct engine *e, int tank, const struct approach_slope *s, double limit,
                         struct now now, struct approach_hours *hours)
{
    double tau_h = e->tanks[tank].heater.tau_h;
    const struct window *room = day_window(e, e->site->room_place, Q_TEMP);
    if (room != NULL && !isnan(tau_h) && !isnan(value_now(e, e->site->room_place, Q_TEMP)))
        return approach_in_room(s, tau_h, room, now.utc, limit, TEMP_MOST_H, hours);
    return approach_when(s, tau_h, limit, hours);
}

/* What is thinned out thins ever more slowly: by its share, not by an amount. */
static double thinning_h(enum quantity q, const struct approach_slope *s)
{
    return (q == Q_EC || q == Q_TDS) && s->per_h < 0 ? s->value / -s->per_h : NAN;
}

/* Towards the edge of the tank's band that lies ahead. */
static bool towards_band(const struct engine *e, int tank, enum quantity q, const struct approach_slope *s,
                         enum way way, struct now now, struct forecast *out)
{
    const struct tank *t = &e->site->tanks[tank];
    double limit = s->per_h > 0 ? t->band[q].hi : t->band[q].lo,
           most = q == Q_TEMP ? TEMP_MOST_H : WATER_MOST_H;
    struct approach_hours hours;
    if ((double)way * s->per_h < 0 || isnan(value_now(e, t->place, q)) ||
        !(q == Q_TEMP ? temp_reaches(e, tank, s, limit, now, &hours)
                      : approach_when(s, thinning_h(q, s), limit, &hours)) ||
        hours.at > most)
        return false;
    *out = (struct forecast){ .quantity = q,
                              .place = t->place,
                              .limit = limit,
                              .at = after(now, hours.at),
                              .at_early = after(now, hours.early),
                              .at_late = after(now, hours.late > 4 * most ? (double)INFINITY : hours.late) };
    return true;
}

/* What the thermostat still holds goes nowhere, whatever the room does. */
static bool is_held(const struct engine *e, int tank, enum way way, double temp_c)
{
    const struct heater *h = &e->tanks[tank].heater;
    return way == UP ? temp_c < h->band_hi_c + UNDER_BAND_C : temp_c > h->band_lo_c - UNDER_BAND_C;
}

/* Of the tanks on a circuit, in a rack, or in the room: the first to get there. */
static bool first_of_tanks(const struct engine *e, int place, bool no_heat, enum way way, struct now now,
                           struct forecast *out)
{
    bool found = false;
    for (int i = 0; i < e->site->tank_count; i++) {
        const struct tank *t = &e->site->tanks[i];
        struct forecast f;
        if (place != e->site->room_place && t->circuit != place && t->rack != place)
            continue;
        struct approach_slope s = temp_slope(e, i, no_heat ? TEMP_SPAN_MS : ROOM_SPAN_MS, no_heat, now);
        if ((!no_heat && is_held(e, i, way, s.value)) || !towards_band(e, i, Q_TEMP, &s, way, now, &f) ||
            (found && f.at.ms >= out->at.ms))
            continue;
        *out = f;
        found = true;
    }
    return found;
}

/* A step that is over goes nowhere: the last ten minutes must go on as the slope says. */
static bool still_moves(const struct engine *e, int place, const struct approach_slope *s, struct now now)
{
    const struct window *w = day_window(e, place, Q_TEMP);
    double last = w == NULL ? NAN : window_mean_over(w, now.utc, REACHED_MS);
    double before = w == NULL ? NAN : window_mean_over(w, (utc_t){ now.utc.ms - REACHED_MS }, REACHED_MS);
    double per_h = (last - before) * (double)MS_PER_HOUR / (double)REACHED_MS;
    return per_h * s->per_h > 0 && fabs(per_h) > fabs(s->per_h) / 2;
}

static bool of_limit(const struct engine *e, const struct alert_slot *slot, int tank, struct now now,
                     struct forecast *out)
{
    struct approach_slope s = slot->quantity == Q_TEMP ? temp_slope(e, tank, FAST_SPAN_MS, false, now)
                              : slot->kind == KIND_DRIFT && slot->quantity == Q_EC
                                  ? climb_of_solids(e, tank)
                                  : recent_slope(e, slot->place, slot->quantity, now);
    if (slot->quantity == Q_TEMP && !still_moves(e, slot->place, &s, now))
        return false;
    return towards_band(e, tank, slot->quantity, &s, EITHER, now, out);
}

bool forecast_of_alert(const struct engine *e, int slot, struct now now, struct forecast *out)
{
    const struct alert_slot *s = &e->site->alerts[slot];
    int tank = e->site->places[s->place].tank;
    struct approach_slope slope;
    *out = FORECAST_NONE;
    switch (s->kind) {
    case KIND_FAST:
    case KIND_DRIFT:
        return of_limit(e, s, tank, now, out);
    case KIND_HEATER_DEAD:
    case KIND_HEATER_STUCK:
    case KIND_HEATER_WEAK:
        slope = temp_slope(e, tank, TEMP_SPAN_MS, s->kind == KIND_HEATER_DEAD, now);
        return towards_band(e, tank, Q_TEMP, &slope, s->kind == KIND_HEATER_STUCK ? UP : DOWN, now, out);
    case KIND_POWER_LOST:
        return first_of_tanks(e, s->place, true, DOWN, now, out);
    case KIND_ROOM_COLD:
    case KIND_ROOM_HOT:
        return first_of_tanks(e, s->place, false, s->kind == KIND_ROOM_HOT ? UP : DOWN, now, out);
    case KIND_TOPOFF_STOPPED:
    case KIND_TOPOFF_MINERALS:
    case KIND_WASTE:
        slope = climb_of_solids(e, tank);
        return towards_band(e, tank, Q_EC, &slope, UP, now, out);
    case KIND_TOPOFF_OVER:
    case KIND_EC_FALL:
        slope = recent_slope(e, s->place, Q_EC, now);
        return towards_band(e, tank, Q_EC, &slope, DOWN, now, out);
    case KIND_LEAK:
        slope = tank < 0 ? (struct approach_slope){ NAN, NAN, NAN } : recent_slope(e, s->place, Q_LEVEL, now);
        return tank >= 0 && towards_band(e, tank, Q_LEVEL, &slope, DOWN, now, out);
    default:
        return false;
    }
}

/* The soonest among the alerts of one place that concern a tank's place. */
static void soonest_of(const struct engine *e, int at, int place, struct now now, struct forecast *out)
{
    if (at < 0)
        return;
    for (int i = e->site->first_alert[at]; i < e->site->first_alert[at + 1]; i++) {
        const struct alert *pub = &e->alarms.items[i].pub;
        struct forecast f = pub->forecast;
        if (!pub->active)
            continue;
        if (at == place)
            (void)forecast_of_alert(e, i, now, &f);
        if (f.quantity == Q_COUNT || f.place != place || f.at.ms <= now.utc.ms)
            continue;
        if (out->quantity == Q_COUNT || f.at.ms < out->at.ms)
            *out = f;
    }
}

bool forecast_of_tank(const struct engine *e, int tank, struct now now, struct forecast *out)
{
    const struct tank *t = &e->site->tanks[tank];
    const int places[] = { t->place, t->rack, t->circuit, e->site->room_place };
    *out = FORECAST_NONE;
    for (unsigned i = 0; i < sizeof places / sizeof *places; i++)
        soonest_of(e, places[i], t->place, now, out);
    return out->quantity != Q_COUNT;
}

/* --- as told, and as it came --- */

static const char *other_place(const struct engine *e, int slot, const struct forecast *f)
{
    return f->place == e->site->alerts[slot].place ? NULL : e->site->places[f->place].text;
}

static void keep(struct engine *e, int slot, struct now now, struct effects *fx)
{
    struct forecast_told *told = &e->forecasts[slot];
    const struct alert *pub = &e->alarms.items[slot].pub;
    char words[160];
    struct text out = text_over(words, sizeof words);
    *told = (struct forecast_told){ .f = pub->forecast,
                                    .made = now.utc,
                                    .open = true,
                                    .up = value_now(e, pub->forecast.place, pub->forecast.quantity) <
                                          pub->forecast.limit };
    e->scores.made++;
    forecast_put(&told->f, other_place(e, slot, &told->f), now.utc, &out);
    event_add(fx, now, EVENT_FORECAST, told->f.place, told->f.quantity, told->f.limit, "%s: %s",
              e->site->alerts[slot].ref, words);
}

enum came { CAME_NOT_YET, CAME_WITHIN, CAME_OUTSIDE, CAME_OVERTAKEN };

/* By the mean of some minutes: a single noisy value has not got there. */
static bool is_reached(const struct engine *e, const struct forecast_told *told, struct now now)
{
    const struct window *w = day_window(e, told->f.place, told->f.quantity);
    double v = w == NULL ? NAN : window_mean_over(w, now.utc, REACHED_MS);
    return told->up ? v >= told->f.limit : v <= told->f.limit;
}

static enum came judge(const struct engine *e, int slot, const struct forecast_told *told, bool reached,
                       struct now now)
{
    const struct alarm *alarm = &e->alarms.items[slot];
    int tank = e->site->places[told->f.place].tank;
    bool late = utc_is_set(told->f.at_late) && now.utc.ms > told->f.at_late.ms;
    if (reached)
        return late || now.utc.ms < told->f.at_early.ms ? CAME_OUTSIDE : CAME_WITHIN;
    if (!alarm->pub.active || (tank >= 0 && e->tanks[tank].in_service))
        return CAME_OVERTAKEN;
    if (late)
        return CAME_OUTSIDE;
    bool long_over = now.utc.ms - told->made.ms > 3 * (told->f.at.ms - told->made.ms);
    return long_over ? CAME_WITHIN : CAME_NOT_YET; /* perhaps never, it was said */
}

static void score(struct engine *e, int slot, enum came came, bool reached, struct now now,
                  struct effects *fx)
{
    static const char *const verdicts[] = { "", "within the spread", "outside the spread", "overtaken" };
    struct forecast_told *told = &e->forecasts[slot];
    int64_t said_ms = told->f.at.ms - told->made.ms, took_ms = now.utc.ms - told->made.ms;
    double off_h = (double)(took_ms - said_ms) / (double)MS_PER_HOUR;
    char said[40], took[40];
    e->scores.within += came == CAME_WITHIN;
    e->scores.outside += came == CAME_OUTSIDE;
    e->scores.overtaken += came == CAME_OVERTAKEN;
    e->scores.reached += reached;
    e->scores.error_sum += reached && said_ms > 0 ? fabs((double)(took_ms - said_ms)) / (double)said_ms : 0;
    told->open = false;
    event_add(fx, now, EVENT_FORECAST_SCORED, told->f.place, told->f.quantity, reached ? off_h : NAN,
              "%s: %s; said %s, %s %s", e->site->alerts[slot].ref, verdicts[came],
              span_format(said_ms, said, sizeof said),
              reached                  ? "reached after"
              : came == CAME_OVERTAKEN ? "the alert or the wait ended after"
                                       : "not reached after",
              span_format(took_ms, took, sizeof took));
}

static void watch_slot(struct engine *e, int slot, struct now now, struct effects *fx)
{
    struct forecast_told *told = &e->forecasts[slot];
    struct alarm *alarm = &e->alarms.items[slot];
    if (told->open) {
        bool reached = is_reached(e, told, now);
        enum came came = judge(e, slot, told, reached, now);
        if (came != CAME_NOT_YET)
            score(e, slot, came, reached, now, fx);
    }
    if (told->open || !alarm->told || !alarm->pub.active || alarm->pub.marks != 0 ||
        (utc_is_set(told->made) && told->made.ms >= alarm->pub.raised_at.ms))
        return;
    if (alarm->pub.forecast.quantity == Q_COUNT && forecast_of_alert(e, slot, now, &alarm->pub.forecast))
        alarm_update(&e->alarms, slot, now, fx);
    if (alarm->pub.forecast.quantity != Q_COUNT && alarm->pub.forecast.at.ms > now.utc.ms)
        keep(e, slot, now, fx);
}

void forecast_watch(struct engine *e, struct now now, struct effects *fx)
{
    for (int i = 0; i < e->site->alert_count && fx->count < EFFECTS_MAX / 2; i++)
        if (e->forecasts[i].open || e->alarms.items[i].pub.active)
            watch_slot(e, i, now, fx);
}

void forecast_watch_visit(struct engine *e, int slot, struct pack *p)
{
    struct forecast_told *told = &e->forecasts[slot];
    approach_visit(&told->f, e->site, p);
    pack_utc(p, &told->made);
    pack_bool(p, &told->open);
    pack_bool(p, &told->up);
    told->open = told->open && told->f.quantity != Q_COUNT;
}

void forecast_scores_visit(struct forecast_scores *s, struct pack *p)
{
    pack_u32(p, &s->made);
    pack_u32(p, &s->reached);
    pack_u32(p, &s->within);
    pack_u32(p, &s->outside);
    pack_u32(p, &s->overtaken);
    pack_f64(p, &s->error_sum, 0, 1e12);
}

struct forecast_scores engine_scores(const struct engine *e)
{
    return e->scores;
}
