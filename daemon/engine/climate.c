/* What several tanks do together: a circuit or rack without power, a room that went cold or hot. Looked at
 * once a minute, over all tanks. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#include "base/text.h"

#define SHARE_TOGETHER 0.6 /* of the heated tanks there */
#define ROOM_OFF_C     2.5 /* beyond the week's range */
#define ROOM_FAR_C     4.0 /* so far that no other sign is needed */
#define ROOM_MEAN_MS   (20 * MS_PER_MIN)
#define WEEK_MARGIN_C  1.2
#define RANGE_SPAN_H   (7 * 24)
#define RANGE_SKIP_H   4
#define RANGE_SIDE_H   2
#define RANGE_LEAST_H  20
#define NO_POWER_W     1.0

struct together {
    int heated, sinking, low, high, warming;
    char names[ALERT_EVIDENCE_MAX];
};

static void add_tank(struct engine *e, int tank, utc_t now, struct together *out, struct text *names)
{
    struct heater_view v;
    if (!tank_is_heated(e, tank) || !heater_view_of(e, tank, now, &v))
        return;
    out->heated++;
    out->low += v.temp_c < v.band_lo_c - 0.03;
    out->warming += v.slope_c_h > 0 && v.heat_c_h > e->tanks[tank].heater.full_c_h / 2;
    out->high += v.temp_c > v.band_hi_c + 0.03 && v.slope_c_h > 0;
    if (!heater_sinks(&e->tanks[tank].heater, &v))
        return;
    text_printf(names, "%s%s %.1f °C %+.2f °C/h", out->sinking++ > 0 ? ", " : "", e->site->tanks[tank].id,
                v.temp_c, v.slope_c_h);
}

static bool belongs(const struct tank *t, int place)
{
    return place < 0 || t->circuit == place || t->rack == place;
}

/* place -1: all tanks. */
static struct together look_at(struct engine *e, int place, utc_t now)
{
    struct together out = { 0 };
    struct text names = text_over(out.names, sizeof out.names);
    for (int i = 0; i < e->site->tank_count; i++)
        if (belongs(&e->site->tanks[i], place))
            add_tank(e, i, now, &out, &names);
    return out;
}

static bool many(int n, int of)
{
    return n >= 2 && n >= SHARE_TOGETHER * of;
}

static void judge(struct engine *e, int place, enum alert_kind kind, enum tri condition, double value,
                  double limit, const char *evidence, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, Q_COUNT);
    if (slot < 0)
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    if (condition == TRI_YES)
        snprintf(pub->evidence, sizeof pub->evidence, "%s", evidence);
    alarm_judge(&e->alarms, slot, condition, value, limit, now, fx);
}

/* --- circuits and racks --- */

/* A rack whose sinking tanks all hang on circuits that are told already adds nothing. */
static bool told_by_circuit(const struct engine *e, int rack)
{
    for (int i = 0; i < e->site->tank_count; i++)
        if (e->site->tanks[i].rack == rack &&
            alert_is_active(e, e->site->tanks[i].circuit, KIND_POWER_LOST, Q_COUNT))
            return true;
    return false;
}

static bool room_explains(const struct engine *e)
{
    return alert_is_active(e, e->site->room_place, KIND_ROOM_COLD, Q_COUNT);
}

static void watch_power(struct engine *e, int place, struct now now, struct effects *fx)
{
    struct together t = look_at(e, place, now.utc);
    double power_w = value_now(e, place, Q_POWER);
    bool measured_none = power_w < NO_POWER_W;
    bool lost = (many(t.sinking, t.heated) && !(power_w >= NO_POWER_W)) || (measured_none && t.sinking >= 1);
    if (e->site->places[place].kind == PLACE_RACK && told_by_circuit(e, place))
        lost = false;
    if (room_explains(e) && !measured_none)
        lost = false;
    char evidence[ALERT_EVIDENCE_MAX];
    int n = snprintf(evidence, sizeof evidence, "%d of %d heated tanks sink as without heat: %.150s",
                     t.sinking, t.heated, t.names);
    if (!isnan(power_w) && n > 0 && n < (int)sizeof evidence)
        snprintf(evidence + n, sizeof evidence - (size_t)n, "; measured power %.1f W", power_w);
    enum tri condition = lost                                                          ? TRI_YES
                         : (t.low == 0 && !measured_none) || many(t.warming, t.heated) ? TRI_NO
                                                                                       : TRI_KEEP;
    judge(e, place, KIND_POWER_LOST, condition, t.sinking, t.heated, evidence, now, fx);
}

/* --- the room --- */

/* Range of the hourly means at this time of day, two hours to either side, over the week before; of all hours
 * while there are less than two days. */
static bool usual_range(const struct window *days, utc_t now, double *lo, double *hi)
{
    int n = 0;
    double week_lo = INFINITY, week_hi = -INFINITY;
    bool two_days = window_at(days, (utc_t){ now.ms - 2 * MS_PER_DAY }) != NULL;
    *lo = INFINITY;
    *hi = -INFINITY;
    for (int i = RANGE_SKIP_H; i < RANGE_SPAN_H; i++) {
        const struct window_bin *bin = window_at(days, (utc_t){ now.ms - i * MS_PER_HOUR });
        if (bin == NULL)
            continue;
        week_lo = fmin(week_lo, window_mean(bin));
        week_hi = fmax(week_hi, window_mean(bin));
        if (two_days && (i + RANGE_SIDE_H) % 24 > 2 * RANGE_SIDE_H)
            continue;
        *lo = fmin(*lo, window_mean(bin));
        *hi = fmax(*hi, window_mean(bin));
        n++;
    }
    /* A dull day is no fault: what the room had at some hour of the week is never more than a little unusual.
     */
    *lo = fmin(*lo, week_lo + WEEK_MARGIN_C);
    *hi = fmax(*hi, week_hi - WEEK_MARGIN_C);
    return two_days ? n >= RANGE_SIDE_H : n >= RANGE_LEAST_H;
}

/* What was usual when it began stays the measure until it is over. */
static double measure(const struct engine *e, enum alert_kind kind, double usual)
{
    int slot = slot_find(e->site, e->site->room_place, kind, Q_COUNT);
    const struct alert *pub = &e->alarms.items[slot].pub;
    if (!pub->active || isnan(pub->limit))
        return usual;
    return kind == KIND_ROOM_COLD ? pub->limit + ROOM_OFF_C : pub->limit - ROOM_OFF_C;
}

static enum tri beyond(double off_c, bool tanks_follow)
{
    if (off_c > ROOM_FAR_C || (off_c > ROOM_OFF_C && tanks_follow))
        return TRI_YES;
    return off_c < ROOM_OFF_C / 2 ? TRI_NO : TRI_KEEP;
}

static void watch_room_probe(struct engine *e, int stream, const struct together *all, struct now now,
                             struct effects *fx)
{
    const struct stream_state *s = &e->streams[stream];
    double lo, hi, mean = window_mean_over(&s->day, now.utc, ROOM_MEAN_MS);
    char evidence[ALERT_EVIDENCE_MAX];
    if (s->silent || isnan(mean) || !usual_range(&s->days, now.utc, &lo, &hi))
        return;
    lo = measure(e, KIND_ROOM_COLD, lo);
    hi = measure(e, KIND_ROOM_HOT, hi);
    snprintf(evidence, sizeof evidence,
             "room %.1f °C, usual at this time of day %.1f to %.1f °C; %d of %d heated tanks are under their "
             "band, "
             "%d over it",
             mean, lo, hi, all->low, all->heated, all->high);
    judge(e, e->site->room_place, KIND_ROOM_COLD, beyond(lo - mean, all->low > 0), mean, lo - ROOM_OFF_C,
          evidence, now, fx);
    judge(e, e->site->room_place, KIND_ROOM_HOT, beyond(mean - hi, all->high > 0), mean, hi + ROOM_OFF_C,
          evidence, now, fx);
}

/* Without a probe in the room the tanks themselves must tell: nearly all of them, on more than one circuit.
 */
static void watch_room_by_tanks(struct engine *e, const struct together *all, struct now now,
                                struct effects *fx)
{
    char evidence[ALERT_EVIDENCE_MAX];
    if (all->heated < 4)
        return;
    snprintf(evidence, sizeof evidence,
             "%d of %d heated tanks are under their band, %d over it; the room is not measured", all->low,
             all->heated, all->high);
    bool cold = all->low >= 0.75 * all->heated, hot = all->high >= 0.75 * all->heated;
    judge(e, e->site->room_place, KIND_ROOM_COLD,
          cold            ? TRI_YES
          : all->low == 0 ? TRI_NO
                          : TRI_KEEP,
          all->low, all->heated, evidence, now, fx);
    judge(e, e->site->room_place, KIND_ROOM_HOT,
          hot              ? TRI_YES
          : all->high == 0 ? TRI_NO
                           : TRI_KEEP,
          all->high, all->heated, evidence, now, fx);
}

void climate_watch(struct engine *e, struct now now, struct effects *fx)
{
    struct together all = look_at(e, -1, now.utc);
    int stream = site_stream_of(e->site, e->site->room_place, Q_TEMP);
    if (stream >= 0 && e->streams[stream].seen)
        watch_room_probe(e, stream, &all, now, fx);
    else
        watch_room_by_tanks(e, &all, now, fx);
    for (int kind = PLACE_CIRCUIT; kind >= PLACE_RACK; kind--)
        for (int p = 0; p < e->site->place_count; p++)
            if (e->site->places[p].kind == (enum place_kind)kind)
                watch_power(e, p, now, fx);
}
