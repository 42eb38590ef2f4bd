#include "engine/solids.h"

#include <math.h>
#include <string.h>

#include "engine/series.h"

/* A creep counts from these on. */
#define CREEP_LEAST       0.013
#define CREEP_LEAST_SINK  0.025
#define CREEP_UNKNOWN     0.035 /* while the usual one is not known */
#define CREEP_USUAL_MOST  0.05  /* a fault in the past must not hide the next */
#define CREEP_TIMES       1.4
#define CREEP_TIMES_SHORT 1.7
#define PAST_SHORT_H      240
#define CREEP_NOISES      4.0
#define CREEP_TODAY_LEAST 0.0025 /* share a day: it goes on */
#define LEVEL_LEAST_MM    2.5
#define WAIT_MS           (18 * MS_PER_HOUR) /* a climb is looked at for so long before it is named */
#define URGENT_DAYS       2.0

/* Waste is faster than evaporation, the minerals of tap water and a probe's drift. */
#define WASTE_DAY        0.035
#define WASTE_SURE_DAY   0.045
#define DRIFT_SURE       0.05
#define LIKE_USUAL_LO    0.6
#define LIKE_USUAL_HI    1.5
#define LIKE_EVAPORATION 1.5
#define LIKE_TAP         2.2
#define ANSWER_REAL      0.6
#define ANSWER_NONE      0.3
#define SINK_DAY_MOST    0.05

/* Falling without a step: quickly within hours, or slowly within a night. */
#define QUICK_BINS   30 /* 2.5 h */
#define QUICK_SHARE  0.02
#define SLOW_HOURS   10
#define SLOW_SHARE   0.03
#define NEW_QUICK    0.005 /* below all of the week before */
#define NEW_SLOW     0.015
#define LEAK_MM      4.0
#define LEAK_SLOW_MM 5.0
#define LEAK_TIMES   3.0 /* what evaporation takes */
#define PAST_DAYS    7
#define PAST_LEAST_H 24
#define PAST_SKIP_H  12

void solids_init(struct solids *s)
{
    memset(s, 0, sizeof *s);
    s->noise = s->block_noise = s->temp_ref_c = NAN;
    s->climb = s->sink = s->level_sink = (struct creep){ 0, NAN, 0, 0 };
    s->slope_day = s->slope_sd = s->today_day = s->today_sd = NAN;
    s->usual_day = s->level_usual_mm_day = s->evaporation_day = s->answer = NAN;
    s->service_begin = s->service_end = s->climbs_since = UTC_NONE;
}

struct span solids_range(const struct window *days, utc_t before, int days_back)
{
    double hours[SERIES_HOURS];
    struct span range = { NAN, NAN };
    int n = days_back * 24, count = 0;
    series_take(days, before, hours, n);
    for (int i = 0; i < n; i++) {
        range.lo = fmin(range.lo, hours[i]);
        range.hi = fmax(range.hi, hours[i]);
        count += !isnan(hours[i]);
    }
    return count < PAST_LEAST_H ? (struct span){ NAN, NAN } : range;
}

/* --- what counts --- */

/* A short past has not shown the longest wait for a top-off. */
static double times_usual(const struct creep *c)
{
    return c->past < PAST_SHORT_H ? CREEP_TIMES_SHORT : CREEP_TIMES;
}

static double creep_limit(const struct solids *s, const struct creep *c, double least)
{
    double noise = isnan(s->block_noise) ? 0 : CREEP_NOISES * s->block_noise;
    if (isnan(c->usual))
        return fmax(CREEP_UNKNOWN, noise);
    return fmax(fmax(least, noise), times_usual(c) * fmin(c->usual, CREEP_USUAL_MOST));
}

static bool goes_on(const struct solids *s, int way)
{
    return way * s->today_day > fmax(CREEP_TODAY_LEAST, 2 * s->today_sd);
}

bool solids_climbs(const struct solids *s)
{
    return s->climb.rise > creep_limit(s, &s->climb, CREEP_LEAST) && goes_on(s, 1) && s->slope_day > 0;
}

bool solids_sinks(const struct solids *s)
{
    return s->sink.rise > creep_limit(s, &s->sink, CREEP_LEAST_SINK) && goes_on(s, -1) && s->slope_day < 0;
}

static bool is_calm(const struct solids *s)
{
    double limit = creep_limit(s, &s->climb, CREEP_LEAST);
    double sink_limit = creep_limit(s, &s->sink, CREEP_LEAST_SINK);
    return (s->climb.rise < limit / 2 || (s->climb.rise < limit && s->today_day < 0)) &&
           s->sink.rise < sink_limit;
}

static bool level_sinks(const struct solids *s)
{
    double usual = s->level_sink.usual;
    return s->level_sink.rise >
           (isnan(usual) ? 3 * LEVEL_LEAST_MM : fmax(LEVEL_LEAST_MM, CREEP_TIMES * usual));
}

/* --- causes of a climb --- */

/* Is it there when water is changed? A real climb answers to the change, a probe's does not. */
static bool is_real(const struct solids *s)
{
    return s->answer > ANSWER_REAL;
}

static bool is_the_probe(const struct solids *s)
{
    return s->answer < ANSWER_NONE;
}

static bool like(double v, double other, double least, double most)
{
    return v > least * other && v < most * other;
}

static enum solids_cause climb_cause(const struct solids *s, const struct solids_view *view)
{
    double a_day = s->slope_day, evaporation = s->evaporation_day;
    bool level = view->level_days != NULL;
    if (level && level_sinks(s))
        return SOLIDS_TOPOFF_STOPPED;
    if (is_the_probe(s))
        return SOLIDS_PROBE_DRIFTS;
    if (a_day > WASTE_DAY)
        return SOLIDS_WASTE;
    if (!level && s->usual_day > CREEP_TODAY_LEAST && like(a_day, s->usual_day, LIKE_USUAL_LO, LIKE_USUAL_HI))
        return SOLIDS_TOPOFF_STOPPED;
    if (!level && a_day < LIKE_EVAPORATION * evaporation)
        return SOLIDS_TOPOFF_STOPPED;
    if (a_day < LIKE_TAP * evaporation || view->mates_climb)
        return SOLIDS_TOPOFF_MINERALS;
    if (is_real(s))
        return SOLIDS_WASTE;
    /* Waste that has just begun looks like a probe that drifts: wait until it would have shown itself. */
    return s->climb.rise > DRIFT_SURE ? SOLIDS_PROBE_DRIFTS : SOLIDS_UNKNOWN;
}

/* --- falling within hours --- */

/* Of a row's quarters each lies lower than the one before, by a fair share of the whole fall. */
static bool falls_all_along(const double *x, int n, double least)
{
    double quarter[4];
    for (int i = 0; i < 4; i++)
        quarter[i] = series_median(x + n * i / 4, n * (i + 1) / 4 - n * i / 4, 2);
    double whole = quarter[0] - quarter[3], share = 0.12 * whole;
    return whole > 0.75 * least && quarter[0] - quarter[1] > share && quarter[1] - quarter[2] > share &&
           quarter[2] - quarter[3] > share;
}

static bool falls(const double *x, int n, double least)
{
    struct slope slope = series_slope(x, n, n / 2);
    double fall = -slope.per * n;
    return fall > least && -slope.per > 3 * slope.sd && falls_all_along(x, n, least);
}

/* Below everything of the week before. */
static bool is_new(const struct window *days, utc_t now, double v, double margin)
{
    struct span past = solids_range(days, (utc_t){ now.ms - PAST_SKIP_H * MS_PER_HOUR }, PAST_DAYS);
    return isnan(past.lo) || v < past.lo - margin;
}

static bool level_says(const struct solids_view *view, utc_t now, int way)
{
    double hours[SLOW_HOURS];
    series_take(view->level_days, now, hours, SLOW_HOURS);
    double late = series_median(hours + SLOW_HOURS - 2, 2, 1), early = series_median(hours, 3, 1);
    return isnan(late) || isnan(early) || way * (late - early) > -1.0;
}

static bool runs_over(const struct solids *s, const struct solids_view *view, utc_t now)
{
    double fine[QUICK_BINS], hours[SLOW_HOURS], level;
    solids_row(s, view->ec_day, view->temp_day, now, fine, QUICK_BINS);
    solids_row(s, view->ec_days, view->temp_days, now, hours, SLOW_HOURS);
    level = series_median(fine + QUICK_BINS - 8, 8, 2);
    double noise = isnan(s->noise) ? 0 : s->noise;
    bool quickly = !isnan(level) && falls(fine, QUICK_BINS, fmax(QUICK_SHARE * level, 4 * noise));
    if (!quickly && (isnan(level) || !falls(hours, SLOW_HOURS, fmax(SLOW_SHARE * level, 3 * noise))))
        return false;
    return level_says(view, now, 1) &&
           is_new(view->ec_days, now, level, (quickly ? NEW_QUICK : NEW_SLOW) * level);
}

static bool leaks(const struct solids *s, const struct solids_view *view, utc_t now)
{
    double fine[QUICK_BINS], hours[SLOW_HOURS];
    double evaporated = isnan(s->level_usual_mm_day) ? 0 : fmax(s->level_usual_mm_day, 0);
    series_take(view->level_day, now, fine, QUICK_BINS);
    series_take(view->level_days, now, hours, SLOW_HOURS);
    double level = series_median(fine + QUICK_BINS - 5, 5, 1);
    if (isnan(level) || !(falls(fine + 4, QUICK_BINS - 4, LEAK_MM) ||
                          falls(hours, SLOW_HOURS, LEAK_SLOW_MM + LEAK_TIMES * evaporated * SLOW_HOURS / 24)))
        return false;
    double before = window_mean_over(view->level_days, (utc_t){ now.ms - 3 * MS_PER_HOUR }, 2 * MS_PER_HOUR);
    return is_new(view->level_days, now, level, 1.0) || before - level > 3 * LEAK_MM;
}

/* Early on all climbs look alike: it is named when it has gone on for a while, or the band's edge is near. */
static bool may_be_named(struct solids *s, const struct solids_view *view, utc_t now)
{
    double ec = window_mean_over(view->ec_days, now, MS_PER_HOUR);
    if (!utc_is_set(s->climbs_since))
        s->climbs_since = now;
    return !utc_within(s->climbs_since, now, WAIT_MS - 1) ||
           log(view->ec_hi / ec) / s->slope_day < URGENT_DAYS;
}

bool solids_is_sure(const struct solids *s, enum solids_cause cause)
{
    return (cause == SOLIDS_WASTE && s->slope_day > WASTE_SURE_DAY) ||
           (cause == SOLIDS_PROBE_DRIFTS && is_the_probe(s)) ||
           (cause == SOLIDS_TOPOFF_STOPPED && level_sinks(s));
}

enum solids_cause solids_judge(struct solids *s, const struct solids_view *view, utc_t now)
{
    enum solids_cause cause = SOLIDS_UNKNOWN;
    if (view->level_day != NULL && leaks(s, view, now))
        cause = SOLIDS_LEAK;
    else if (view->ec_day != NULL && runs_over(s, view, now))
        cause = SOLIDS_TOPOFF_OVER;
    else if (view->level_days != NULL && level_sinks(s))
        cause = SOLIDS_TOPOFF_STOPPED;
    else if (view->ec_day == NULL || isnan(s->block_noise))
        cause = SOLIDS_UNKNOWN;
    else if (solids_climbs(s))
        cause = may_be_named(s, view, now) ? climb_cause(s, view) : SOLIDS_UNKNOWN;
    else if (solids_sinks(s) && s->slope_day > -SINK_DAY_MOST)
        cause = SOLIDS_PROBE_DRIFTS;
    else if (is_calm(s))
        cause = SOLIDS_FINE;
    if (cause == SOLIDS_FINE)
        s->climbs_since = UTC_NONE;
    s->cause = (int32_t)cause;
    return cause;
}

static void visit_creep(struct creep *c, struct pack *p)
{
    pack_f64(p, &c->rise, -1e6, 1e6);
    pack_f64(p, &c->usual, -1e6, 1e6);
    pack_f64(p, &c->hours, 0, 1e4);
    pack_f64(p, &c->past, 0, 1e4);
}

void solids_visit(struct solids *s, struct pack *p)
{
    double *numbers[] = { &s->noise,          &s->temp_share, &s->temp_ref_c,  &s->slope_day,
                          &s->slope_sd,       &s->span_days,  &s->today_day,   &s->today_sd,
                          &s->usual_day,      &s->answer,     &s->block_noise, &s->level_usual_mm_day,
                          &s->evaporation_day };
    pack_i32(p, &s->step_count, 0, SOLIDS_STEPS);
    for (int i = 0; i < s->step_count && !p->bad; i++) {
        pack_utc(p, &s->steps[i].t);
        pack_f64(p, &s->steps[i].before, -1e6, 1e6);
        pack_f64(p, &s->steps[i].after, -1e6, 1e6);
        pack_bool(p, &s->steps[i].announced);
    }
    for (unsigned i = 0; i < sizeof numbers / sizeof *numbers; i++)
        pack_f64(p, numbers[i], -1e6, 1e6);
    visit_creep(&s->climb, p);
    visit_creep(&s->sink, p);
    visit_creep(&s->level_sink, p);
    pack_utc(p, &s->service_begin);
    pack_utc(p, &s->service_end);
    pack_utc(p, &s->climbs_since);
    pack_i32(p, &s->cause, SOLIDS_UNKNOWN, SOLIDS_PROBE_DRIFTS);
}
