/* Copies of what the engine knows, for documents, boards and pages. */
#include "engine/state.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/forecast_watch.h"
#include "water/trend.h"

#define TREND_SPAN_H 72
#define TREND_LEAST  12

/* Robust trend of the last three days, unit per day. */
static double trend_per_day(const struct window *w, utc_t newest)
{
    double t[TREND_SPAN_H], v[TREND_SPAN_H], scratch[TREND_SPAN_H * (TREND_SPAN_H - 1) / 2];
    size_t n = 0;
    struct trend trend;
    for (int i = TREND_SPAN_H - 1; i >= 0; i--) {
        const struct window_bin *bin = window_at(w, (utc_t){ newest.ms - i * w->bin_ms });
        if (bin == NULL)
            continue;
        t[n] = -(double)i / 24.0;
        v[n++] = window_mean(bin);
    }
    if (n < TREND_LEAST || trend_fit(t, v, n, scratch, &trend, NULL) != STATUS_OK)
        return NAN;
    return trend.slope;
}

void engine_report_value(const struct engine *e, int tank, enum quantity q, struct now now,
                         struct value_report *out)
{
    int stream = speaking_stream(e, e->site->tanks[tank].place, q);
    *out = (struct value_report){ .value = NAN, .t = UTC_NONE, .per_day = NAN, .day_lo = NAN, .day_hi = NAN };
    if (stream >= 0 && e->streams[stream].seen) {
        const struct stream_state *s = &e->streams[stream];
        out->origin = ORIGIN_PROBE;
        out->value = s->last.value;
        out->t = s->last.t;
        out->flag = s->last.flag;
        out->stale = s->silent;
    }
    if (out->origin == ORIGIN_NONE || out->stale)
        hand_report(e, tank, q, now, out);
}

static void report_value(const struct engine *e, int tank, enum quantity q, struct now now,
                         struct value_report *out)
{
    engine_report_value(e, tank, q, now, out);
    if (out->origin != ORIGIN_PROBE)
        return;
    const struct stream_state *s = &e->streams[speaking_stream(e, e->site->tanks[tank].place, q)];
    struct window_range day = window_range(&s->day, s->last.t, MS_PER_DAY);
    out->day_lo = day.lo;
    out->day_hi = day.hi;
    out->per_day = trend_per_day(&s->days, s->last.t);
}

static struct solids_report report_solids(const struct solids *s, const struct value_report *ec)
{
    double now = ec->origin == ORIGIN_PROBE ? ec->value : (double)NAN;
    return (struct solids_report){ .ec_per_day = s->slope_day * now,
                                   .ec_per_day_sd = s->slope_sd * now,
                                   .span_days = isnan(s->slope_day) ? 0 : s->span_days,
                                   .evaporation_day = s->evaporation_day,
                                   .evaporation_reckoned = solids_evaporation_is_reckoned(s) };
}

void engine_report_tank(const struct engine *e, int tank, struct now now, struct tank_report *out)
{
    const struct tank_state *t = &e->tanks[tank];
    memset(out, 0, sizeof *out);
    out->tank = tank;
    out->t = now.utc;
    for (int q = 0; q < Q_COUNT; q++)
        report_value(e, tank, (enum quantity)q, now, &out->values[q]);
    for (int d = 0; d < DERIVED_COUNT; d++) {
        out->derived[d] = (struct value_report){
            .value = NAN, .t = UTC_NONE, .per_day = NAN, .day_lo = NAN, .day_hi = NAN
        };
        out->derived_sd[d] = NAN;
    }
    out->tds_factor = NAN;
    derive_report(e, out);
    out->heat = (struct heat_report){ .tau_h = t->heater.tau_h,
                                      .band_lo_c = t->heater.band_lo_c,
                                      .band_hi_c = t->heater.band_hi_c,
                                      .heater_w = NAN,
                                      .duty = NAN,
                                      .learnt_h = t->heater.learnt_h };
    out->solids = report_solids(&t->solids, &out->values[Q_EC]);
    (void)forecast_of_tank(e, tank, now, &out->forecast);
    out->in_service = t->in_service;
    out->service_until = t->service_until;
    out->last_change = t->last_change;
    out->last_step_ec = t->last_step_ec;
    if (t->told.change && utc_is_set(t->told.t) && t->told.t.ms - TOLD_CHANGE_MS > t->last_change.ms) {
        out->last_change = t->told.t; /* no step was seen with it */
        out->last_step_ec = NAN;
    }
}

void engine_report_probe(const struct engine *e, int stream, struct now now, struct probe_report *out)
{
    const struct stream_state *s = &e->streams[stream];
    *out = (struct probe_report){ .stream = stream,
                                  .seen = s->seen,
                                  .last_t = s->seen ? s->last.t : UTC_NONE,
                                  .last_value = s->last.value,
                                  .flag = s->last.flag,
                                  .stale = s->silent,
                                  .cadence_s = health_cadence_s(e, stream),
                                  .good_share = health_good_share(e, stream, now),
                                  .calib = *fitting_calib(&s->fitting),
                                  .received = s->received,
                                  .missing = s->missing,
                                  .rejected = s->rejected,
                                  .duplicates = s->duplicates,
                                  .conflicts = s->conflicts,
                                  .late = s->late,
                                  .retained = s->retained,
                                  .absent = s->absent,
                                  .device_since = s->fitting.device_since,
                                  .fresh = fitting_is_fresh(&s->fitting),
                                  .battery = s->battery,
                                  .link = s->link };
    double slope;
    out->slope_month = fitting_slope_month(&s->fitting, &slope);
    memcpy(out->device, s->fitting.device, sizeof out->device);
    memcpy(out->last_reason, s->last_reason, sizeof out->last_reason);
    memcpy(out->last_sample, s->last_sample, sizeof out->last_sample);
}

/* Announcing and active first, then by priority, then by age. */
static int rank(const struct engine *e, const struct alert *a)
{
    int r = (int)e->site->alerts[a->index].settings.priority;
    return r + (a->active ? 10 : 0) + (a->marks == 0 ? 100 : 0) + (a->leader < 0 ? 5 : 0);
}

static void insert(const struct engine *e, struct alert *out, int *count, int cap, const struct alert *a)
{
    int at = *count;
    while (at > 0 && (rank(e, &out[at - 1]) < rank(e, a) ||
                      (rank(e, &out[at - 1]) == rank(e, a) && out[at - 1].raised_at.ms > a->raised_at.ms)))
        at--;
    if (at >= cap)
        return;
    if (*count < cap)
        (*count)++;
    memmove(&out[at + 1], &out[at], (size_t)(*count - at - 1) * sizeof *out);
    out[at] = *a;
}

int engine_report_alerts(const struct engine *e, int place, struct alert *out, int cap)
{
    int from = place < 0 ? 0 : e->site->first_alert[place];
    int to = place < 0 ? e->site->alert_count : e->site->first_alert[place + 1];
    int count = 0;
    for (int i = from; i < to; i++) {
        const struct alert *a = &e->alarms.items[i].pub;
        if (a->base != ALERT_NORM || (a->marks & (ALERT_SHELVED | ALERT_OUT_OF_SERVICE)) != 0)
            insert(e, out, &count, cap, a);
    }
    return count;
}
