#include "engine/solids.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "water/trend.h"

#define MIN(m) ((m)*MS_PER_MIN)

/* A step: a change that came within an hour and then stands still. */
#define STEP_SHARE    0.022
#define STEP_NOISES   5.0
#define STEP_LEAST    4.0 /* uS/cm */
#define STEP_APART_MS MIN(100)

/* A trend needs most of a day of hourly means; a climb counts from these on. */
#define TREND_SPAN_H  240
#define TREND_LEAST_H 20
#define THREE_DAYS_H  72
#define RECENT_H      26
#define CLIMB_SHARE   0.025
#define CLIMB_DAY     0.004 /* share of the level per day */

/* Evaporation of small tanks: about 1 % of the water a day open, half of that under a lid. Top-off water
 * carries tap minerals at the worst. A probe drifts by a few per cent a day at the most; waste is faster than
 * both. */
#define EVAPORATION_OPEN 0.012
#define EVAPORATION_LID  0.007
#define TOPOFF_WORST     420.0 /* uS/cm */
#define DRIFT_MOST_DAY   0.035
#define DRIFT_SURE       0.05

#define OVER_SHARE_HOUR 0.008
#define OVER_SHARE      0.03
#define LEAK_MM         5.0
#define LEVEL_FALL_MM   1.5

void solids_init(struct solids *s)
{
    memset(s, 0, sizeof *s);
    s->slope_day = s->noise = NAN;
}

const struct solids_step *solids_last_step(const struct solids *s)
{
    return s->step_count == 0 ? NULL : &s->steps[s->step_count - 1];
}

/* Mean of the bins that end so long ago. */
static double mean_ago(const struct window *w, utc_t now, int64_t ago_ms, int64_t span_ms)
{
    return w == NULL ? NAN : window_mean_over(w, (utc_t){ now.ms - ago_ms }, span_ms);
}

static int compare_double(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median distance between neighbouring bins of the last day, as a standard deviation of one. */
static double noise_of(const struct window *w, utc_t now)
{
    double d[288], last = NAN;
    int n = 0;
    for (int i = 0; i < 288; i++) {
        const struct window_bin *bin = window_at(w, (utc_t){ now.ms - i * w->bin_ms });
        double v = bin == NULL ? NAN : window_mean(bin);
        if (!isnan(v) && !isnan(last))
            d[n++] = fabs(v - last);
        last = v;
    }
    if (n < 20)
        return NAN;
    qsort(d, (size_t)n, sizeof *d, compare_double);
    return d[n / 2] / (0.6745 * sqrt(2.0));
}

/* --- steps --- */

static double step_least(const struct solids *s, double level)
{
    double noise = isnan(s->noise) ? 0 : s->noise;
    return fmax(fmax(STEP_SHARE * level, STEP_NOISES * noise * sqrt(2.0 / 5.0)), STEP_LEAST);
}

static void remember(struct solids *s, utc_t t, double before, double after)
{
    if (s->step_count == SOLIDS_STEPS) {
        memmove(s->steps, s->steps + 1, (SOLIDS_STEPS - 1) * sizeof *s->steps);
        s->step_count--;
    }
    s->steps[s->step_count++] = (struct solids_step){ t, before, after };
}

static bool find_step(struct solids *s, const struct window *w, utc_t now)
{
    double after = mean_ago(w, now, 0, MIN(25)), before = mean_ago(w, now, MIN(75), MIN(30));
    double early = mean_ago(w, now, MIN(12), MIN(13)), late = mean_ago(w, now, 0, MIN(12));
    double older = mean_ago(w, now, MIN(105), MIN(30));
    const struct solids_step *last = solids_last_step(s);
    if (isnan(after) || isnan(before) || isnan(early) || isnan(late))
        return false;
    if (last != NULL && now.ms - last->t.ms < STEP_APART_MS)
        return false;
    double least = step_least(s, before);
    bool still = fabs(late - early) < least / 2,
         before_still = isnan(older) || fabs(before - older) < least / 2;
    if (fabs(after - before) < least || !still || !before_still)
        return false;
    remember(s, now, before, after);
    return true;
}

/* --- trend since the last step --- */

/* Slope of the hourly means from `from` on, at most so many hours back; NaN when too few. */
static double slope_over(const struct window *days, utc_t now, int64_t from_ms, int hours, double *span_days)
{
    static double scratch[TREND_SCRATCH(TREND_SPAN_H)];
    double t[TREND_SPAN_H], v[TREND_SPAN_H];
    size_t n = 0;
    struct trend trend;
    for (int i = hours - 1; i >= 0; i--) {
        utc_t at = { now.ms - i * days->bin_ms };
        const struct window_bin *bin = window_at(days, at);
        if (bin == NULL || at.ms - days->bin_ms < from_ms)
            continue;
        t[n] = -(double)i / 24.0;
        v[n++] = window_mean(bin);
    }
    if (n < TREND_LEAST_H || trend_fit(t, v, n, scratch, &trend, NULL) != STATUS_OK)
        return NAN;
    *span_days = -t[0];
    return trend.slope;
}

static bool is_climb(const struct solids *s, double slope_day, double span_days, double level)
{
    double gain = slope_day * span_days;
    return slope_day > CLIMB_DAY * level && gain > CLIMB_SHARE * level && gain > 3 * s->noise;
}

/* The whole stretch tells a slow climb, the last days one that began lately: the steepest that is a climb
 * counts. */
static void find_trend(struct solids *s, const struct window *days, utc_t now)
{
    static const int spans_h[] = { THREE_DAYS_H, RECENT_H };
    const struct solids_step *last = solids_last_step(s);
    int64_t from_ms = last == NULL ? INT64_MIN : last->t.ms + MIN(30);
    double level = window_mean_over(days, now, MS_PER_HOUR), span_days = 0;
    s->slope_day = slope_over(days, now, from_ms, TREND_SPAN_H, &s->span_days);
    for (unsigned i = 0; i < sizeof spans_h / sizeof *spans_h; i++) {
        double slope = slope_over(days, now, from_ms, spans_h[i], &span_days);
        if (slope > s->slope_day && is_climb(s, slope, span_days, level)) {
            s->slope_day = slope;
            s->span_days = span_days;
        }
    }
}

bool solids_look(struct solids *s, const struct solids_view *view, utc_t now)
{
    if (view->ec_day == NULL)
        return false;
    double noise = noise_of(view->ec_day, now);
    if (!isnan(noise))
        s->noise = isnan(s->noise) ? noise : fmin(noise, 2 * s->noise);
    bool step = find_step(s, view->ec_day, now);
    find_trend(s, view->ec_days, now);
    return step;
}

/* --- causes --- */

/* Falls hour after hour, without the stillness of a step. */
static bool runs_over(const struct solids *s, const struct window *w, utc_t now)
{
    double h0 = mean_ago(w, now, 0, MIN(25)), h1 = mean_ago(w, now, MIN(60), MIN(25)),
           h2 = mean_ago(w, now, MIN(120), MIN(25)), h3 = mean_ago(w, now, MIN(180), MIN(25));
    double least = fmax(OVER_SHARE_HOUR * h3, isnan(s->noise) ? 0 : s->noise);
    double whole = fmax(OVER_SHARE * h3, isnan(s->noise) ? 0 : 4 * s->noise);
    return h3 - h2 > least && h2 - h1 > least && h1 - h0 > least && h3 - h0 > whole;
}

static bool leaks(const struct solids_view *view, utc_t now)
{
    const struct window *w = view->level_day;
    double l0 = mean_ago(w, now, 0, MIN(15)), l1 = mean_ago(w, now, MIN(45), MIN(15)),
           l2 = mean_ago(w, now, MIN(90), MIN(15)), l3 = mean_ago(w, now, MIN(135), MIN(15));
    double third = LEAK_MM / 5;
    if (!(l3 - l0 > LEAK_MM && l3 - l2 > third && l2 - l1 > third && l1 - l0 > third))
        return false;
    double e0 = mean_ago(view->ec_day, now, 0, MIN(25)), e3 = mean_ago(view->ec_day, now, MIN(135), MIN(25));
    return isnan(e0) || isnan(e3) || fabs(e0 - e3) < 0.05 * e3;
}

/* Over two days, in mm; NaN where the level is not measured. */
static double level_fall(const struct solids_view *view, utc_t now)
{
    return mean_ago(view->level_days, now, 48 * MS_PER_HOUR, 4 * MS_PER_HOUR) -
           mean_ago(view->level_days, now, 0, 4 * MS_PER_HOUR);
}

static enum solids_cause climb_cause(const struct solids *s, const struct solids_view *view, double level,
                                     utc_t now)
{
    double per_day = s->slope_day / level, evaporation = view->lid ? EVAPORATION_LID : EVAPORATION_OPEN;
    double fall_mm = level_fall(view, now);
    if (fall_mm > LEVEL_FALL_MM)
        return SOLIDS_TOPOFF_STOPPED;
    if (per_day > DRIFT_MOST_DAY)
        return SOLIDS_WASTE;
    if (s->slope_day < evaporation * TOPOFF_WORST && !isnan(fall_mm))
        return SOLIDS_TOPOFF_MINERALS;
    if (per_day < 1.6 * evaporation)
        return SOLIDS_TOPOFF_STOPPED;
    /* Waste that has just begun looks like a probe that drifts: wait until it would have shown itself. */
    return s->slope_day * s->span_days > DRIFT_SURE * level ? SOLIDS_PROBE_DRIFTS : SOLIDS_UNKNOWN;
}

static enum solids_cause set_cause(struct solids *s, enum solids_cause cause)
{
    s->cause = (int32_t)cause;
    return cause;
}

enum solids_cause solids_judge(struct solids *s, const struct solids_view *view, utc_t now)
{
    s->cause = SOLIDS_UNKNOWN;
    if (leaks(view, now))
        return set_cause(s, SOLIDS_LEAK);
    if (view->ec_day == NULL)
        return SOLIDS_UNKNOWN;
    if (runs_over(s, view->ec_day, now))
        return set_cause(s, SOLIDS_TOPOFF_OVER);
    double level = mean_ago(view->ec_day, now, 0, MIN(60));
    if (isnan(level) || isnan(s->slope_day))
        return SOLIDS_UNKNOWN;
    bool climbs = is_climb(s, s->slope_day, s->span_days, level);
    bool calm = s->slope_day < CLIMB_DAY * level / 2;
    return set_cause(s, climbs ? climb_cause(s, view, level, now) : calm ? SOLIDS_FINE : SOLIDS_UNKNOWN);
}

void solids_visit(struct solids *s, struct pack *p)
{
    pack_i32(p, &s->step_count, 0, SOLIDS_STEPS);
    for (int i = 0; i < s->step_count && !p->bad; i++) {
        pack_utc(p, &s->steps[i].t);
        pack_f64(p, &s->steps[i].before, -1e6, 1e6);
        pack_f64(p, &s->steps[i].after, -1e6, 1e6);
    }
    pack_f64(p, &s->slope_day, -1e6, 1e6);
    pack_f64(p, &s->span_days, 0, 1e4);
    pack_f64(p, &s->noise, 0, 1e6);
    pack_i32(p, &s->cause, SOLIDS_UNKNOWN, SOLIDS_PROBE_DRIFTS);
}
