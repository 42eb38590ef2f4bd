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
/* Waste and a probe that drifts look alike until a hand test or a change of water tells them apart. While no
 * limit is near one of them may come first: a wrong name would cost a second message. */
#define OPEN_WAIT_MS (72 * MS_PER_HOUR)
#define OPEN_WAIT_TOPOFF_MS                                                                                  \
    (36 * MS_PER_HOUR)            /* a top-off goes wrong more often than a probe or a feeder                \
                                   */
#define OPEN_URGENT_DAYS      4.0 /* to the animals' limit */
#define OPEN_URGENT_AWAY_DAYS 1.5 /* to the keeper's own: the cause is told with it */
#define HORIZON_DAYS          28.0 /* a top-off's climb that takes longer is no news: changes of water come before */

/* Waste is faster than evaporation, the minerals of tap water and a probe's drift. */
#define WASTE_SURE_DAY      0.045
#define LIKE_USUAL_LO       0.6
#define LIKE_USUAL_HI       1.5
#define LIKE_EVAPORATION_LO 0.5 /* slower is no stopped top-off, if it is reckoned right to the half */
#define ANSWER_REAL         0.6
#define ANSWER_NONE         0.3
#define SINK_DAY_MOST       0.05
#define SINK_BLIND_TIMES    2.0
#define SINK_LEAST_H        48    /* a fall within a day is a change, or several top-offs */
#define TOPOFF_EC_MOST      700.0 /* uS/cm: most tap waters are softer */
#define REFILL_LEAVES       0.5   /* of the climb: more is no evaporation */
#define EXPLAINED           0.5   /* of the climb, by the water that is missing */

/* Creeps rest on medians of four hours, learnt every hour: what came in since shows in the last minutes. */
#define STALE_BINS  60 /* 5 h of 5 min */
#define STRETCH     3
#define UNDONE      0.5 /* of the creep: the rest stands on what was before */
#define UNDONE_SDS  4.0
#define MEDIAN_3_SD 0.67 /* of a median of three, over that of one */

/* Falling without a step: quickly within hours, or slowly within a night. */
#define QUICK_BINS    30 /* 2.5 h */
#define QUICK_SHARE   0.02
#define SLOW_HOURS    10
#define SLOW_SHARE    0.03
#define GOES_ON_SHARE 0.5 /* of the pace of the whole fall, at its end */
#define GOES_ON_SDS   1.5
#define NEW_QUICK     0.005 /* below all of the week before */
#define NEW_SLOW      0.015
#define LEVEL_BINS    6
#define LEVEL_OVER_MM 1.0
#define LEAK_MM       4.0
#define LEAK_SLOW_MM  5.0
#define LEAK_TIMES    3.0 /* what evaporation takes */
#define OVER_DAYS     14  /* filling up what had not been topped off for a week goes back no further */
#define PAST_DAYS     7
#define PAST_LEAST_H  24
#define PAST_SKIP_H   12

/* A tank that nobody knows yet falls as far as this in an evening of its keeper's work: a change and a
 * top-off. One that is topped off by hand has shown its ways after so many hours. */
#define BLIND_SHARE      0.04
#define BLIND_SHARE_HAND 0.08
#define HAND_PAST_H      96

void solids_init(struct solids *s)
{
    memset(s, 0, sizeof *s);
    s->noise = s->hour_noise = s->block_noise = s->temp_ref_c = NAN;
    s->climb = s->sink = s->level_sink = (struct creep){ .usual = NAN };
    s->slope_day = s->slope_sd = s->today_day = s->today_sd = NAN;
    s->usual_day = s->level_usual_mm_day = s->evaporation_day = s->evaporation_most = s->air = s->answer =
        NAN;
    s->service_begin = s->service_end = s->climbs_since = UTC_NONE;
}

static int range_of(const struct window *days, utc_t before, int n, struct span *range)
{
    double hours[SERIES_HOURS];
    int count = 0;
    *range = (struct span){ NAN, NAN };
    series_take(days, before, hours, n);
    for (int i = 0; i < n; i++) {
        range->lo = fmin(range->lo, hours[i]);
        range->hi = fmax(range->hi, hours[i]);
        count += !isnan(hours[i]);
    }
    return count;
}

struct span solids_range(const struct window *days, utc_t before, int days_back)
{
    struct span range;
    return range_of(days, before, days_back * 24, &range) < PAST_LEAST_H ? (struct span){ NAN, NAN } : range;
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
        return c->slack + fmax(fmax(CREEP_UNKNOWN, noise), c->wait);
    return c->slack +
           fmax(fmax(fmax(least, noise), c->wait), times_usual(c) * fmin(c->usual, CREEP_USUAL_MOST));
}

static bool goes_on(const struct solids *s, int way)
{
    return way * s->today_day > fmax(CREEP_TODAY_LEAST, 2 * s->today_sd);
}

bool solids_climbs(const struct solids *s)
{
    return s->climb.rise > creep_limit(s, &s->climb, CREEP_LEAST) && goes_on(s, 1) && s->slope_day > 0;
}

/* Without a past to hold it against it must be far: changes and top-offs, too, go down. */
bool solids_sinks(const struct solids *s)
{
    double limit = creep_limit(s, &s->sink, CREEP_LEAST_SINK) * (isnan(s->sink.usual) ? SINK_BLIND_TIMES : 1);
    return s->sink.rise > limit && s->sink.hours >= SINK_LEAST_H && s->sinks_along && goes_on(s, -1) &&
           s->slope_day < 0;
}

static bool is_calm(const struct solids *s)
{
    double limit = creep_limit(s, &s->climb, CREEP_LEAST);
    double sink_limit = creep_limit(s, &s->sink, CREEP_LEAST_SINK);
    return (s->climb.rise < limit / 2 || (s->climb.rise < limit && s->today_day < 0)) &&
           s->sink.rise < sink_limit;
}

/* The level was as low before, and its keeper tops off by hand, or the conductivity shows no more than it
 * used to. */
static bool is_its_way(const struct solids *s, const struct solids_view *view)
{
    bool stands = view->ec_days != NULL && !isnan(s->climb.usual) &&
                  s->climb.rise <= creep_limit(s, &s->climb, CREEP_LEAST);
    return s->level_usual_low && (view->by_hand || stands);
}

/* Evaporation lowers it hour by hour; a change that took more than it gave, at once. */
static bool level_sinks(const struct solids *s, const struct solids_view *view)
{
    const struct creep *c = &s->level_sink;
    if (view->level_days == NULL || !s->level_along || is_its_way(s, view))
        return false;
    double wait = c->past < PAST_SHORT_H ? c->wait : 0;
    return c->rise >
           fmax(wait, isnan(c->usual) ? 3 * LEVEL_LEAST_MM : fmax(LEVEL_LEAST_MM, times_usual(c) * c->usual));
}

/* --- undone since it was learnt --- */

/* From the lowest stretch of some hours up to the last one. NaN: not known. */
static double came_back(double *x)
{
    double lowest = INFINITY, last = series_median(x + STALE_BINS - STRETCH, STRETCH, STRETCH - 1);
    for (int i = 0; i + STRETCH <= STALE_BINS; i += STRETCH)
        lowest = fmin(lowest, series_median(x + i, STRETCH, STRETCH - 1));
    return last - lowest;
}

/* The level was topped up: what it had sunk is over, though the hours before still say so. */
static bool is_filled_up(const struct solids *s, const struct solids_view *view, utc_t now)
{
    double x[STALE_BINS];
    series_take(view->level_day, now, x, STALE_BINS);
    return came_back(x) > UNDONE * fmax(s->level_sink.rise, LEVEL_LEAST_MM);
}

/* A top-off or a change took back most of the climb. */
static bool is_taken_back(const struct solids *s, const struct solids_view *view, utc_t now)
{
    double x[STALE_BINS], noise = isnan(s->noise) ? 0 : s->noise;
    solids_row(s, view->ec_day, view->temp_day, now, x, STALE_BINS);
    for (int i = 0; i < STALE_BINS; i++)
        x[i] = -x[i];
    double least = UNDONE * s->climb.rise * fabs(series_median(x, STALE_BINS, STRETCH));
    return came_back(x) > fmax(least, UNDONE_SDS * MEDIAN_3_SD * sqrt(2.0) * noise);
}

/* --- causes of a climb --- */

/* A real climb answers to a change of water and shows in a hand test, a probe's does neither. */
static bool is_the_probe(const struct solids *s, const struct solids_view *view)
{
    return view->hand == WITNESS_PROBE || (view->hand == WITNESS_NONE && s->answer < ANSWER_NONE);
}

static bool is_the_water(const struct solids *s, const struct solids_view *view)
{
    return view->hand == WITNESS_WATER || (view->hand == WITNESS_NONE && s->answer > ANSWER_REAL);
}

/* Pure water came in by hand since the climb began, and took less of it than filling up takes of what
 * evaporated. A change fills up with minerals in it and says nothing of that. */
static bool refilled_in_vain(const struct solids *s, const struct solids_view *view, double ec, utc_t now)
{
    const struct solids_step *step = solids_last_step(s);
    double base = ec * exp(-s->climb.rise);
    return view->by_hand && step != NULL && !step->announced && step->after < step->before &&
           step->before > base && utc_within(step->t, now, (int64_t)(s->climb.hours * (double)MS_PER_HOUR)) &&
           log(step->after / base) > REFILL_LEAVES * log(step->before / base);
}

static bool like(double v, double other, double least, double most)
{
    return v > least * other && v < most * other;
}

/* Without top-off the share that evaporates is the share that solids climb by. */
static bool like_evaporation(const struct solids *s)
{
    return s->slope_day < s->evaporation_most && s->slope_day > LIKE_EVAPORATION_LO * s->evaporation_day;
}

/* The top-off water that would explain it could come from a tap. */
static bool could_be_minerals(const struct solids *s, const struct solids_view *view, double ec)
{
    double least_day = s->slope_day - s->slope_sd; /* a day of climb does not tell its pace better */
    return view->mates_climb || least_day * ec < s->evaporation_day * TOPOFF_EC_MOST;
}

/* So much water is missing by the level that it makes most of the climb. */
static bool level_explains(const struct solids *s, const struct solids_view *view)
{
    return view->level_days != NULL && s->level_along && s->level_sink.rise > LEVEL_LEAST_MM &&
           s->level_sink.rise > EXPLAINED * s->climb.rise * solids_depth_mm(view->volume_l);
}

static enum solids_cause climb_cause(const struct solids *s, const struct solids_view *view, double ec,
                                     utc_t now)
{
    double a_day = s->slope_day;
    bool held = view->level_days != NULL || refilled_in_vain(s, view, ec, now);
    if (level_sinks(s, view))
        return SOLIDS_TOPOFF_STOPPED;
    if (is_the_probe(s, view))
        return SOLIDS_PROBE_DRIFTS;
    if (level_explains(s, view)) /* by hand it waits for its keeper as long as ever */
        return view->by_hand && s->level_usual_low ? SOLIDS_UNKNOWN : SOLIDS_TOPOFF_STOPPED;
    if (!held && s->usual_day > CREEP_TODAY_LEAST && like(a_day, s->usual_day, LIKE_USUAL_LO, LIKE_USUAL_HI))
        return SOLIDS_TOPOFF_STOPPED;
    if (!held && like_evaporation(s))
        return SOLIDS_TOPOFF_STOPPED;
    return !view->sours && could_be_minerals(s, view, ec) ? SOLIDS_TOPOFF_MINERALS : SOLIDS_WASTE;
}

/* --- falling within hours --- */

static bool falls(const double *x, int n, double least)
{
    struct slope slope = series_slope(x, n, n / 2);
    double fall = -slope.per * n;
    return fall > least && -slope.per > 3 * slope.sd && series_falls_along(x, n, least);
}

/* Below everything of so many days before. */
static bool is_new(const struct window *days, utc_t now, double v, double margin, int days_back)
{
    struct span past = solids_range(days, (utc_t){ now.ms - PAST_SKIP_H * MS_PER_HOUR }, days_back);
    return isnan(past.lo) || v < past.lo - margin;
}

static bool level_says(const struct solids_view *view, utc_t now, int way)
{
    double hours[SLOW_HOURS];
    series_take(view->level_days, now, hours, SLOW_HOURS);
    double late = series_median(hours + SLOW_HOURS - 2, 2, 1), early = series_median(hours, 3, 1);
    return isnan(late) || isnan(early) || way * (late - early) > -1.0;
}

/* Filling up ends where it always did; what runs over goes on beyond. */
static bool level_tops(const struct solids_view *view, utc_t now)
{
    double bins[LEVEL_BINS];
    if (view->level_day == NULL || view->level_days == NULL)
        return true;
    series_take(view->level_day, now, bins, LEVEL_BINS);
    double level = series_median(bins, LEVEL_BINS, 2);
    struct span past =
        solids_range(view->level_days, (utc_t){ now.ms - PAST_SKIP_H * MS_PER_HOUR }, OVER_DAYS);
    return isnan(level) || isnan(past.hi) || level > past.hi + LEVEL_OVER_MM;
}

static double blind_share(const struct solids_view *view, utc_t now)
{
    struct span past;
    int known_h =
        range_of(view->ec_days, (utc_t){ now.ms - PAST_SKIP_H * MS_PER_HOUR }, PAST_DAYS * 24, &past);
    if (view->by_hand)
        return known_h < HAND_PAST_H ? BLIND_SHARE_HAND : 0;
    return known_h < PAST_LEAST_H ? BLIND_SHARE : 0;
}

/* A top-off by hand, or a change, is a step or two and then stands, though a cooler or uncompensated probe
 * follows for a while; what runs over goes on, at the end as at the beginning. */
static bool goes_down(const double *x, int n, double least)
{
    int late = n * 2 / 5;
    struct slope end = series_slope(x + n - late, late, late * 2 / 3);
    double whole = series_median(x, n / 4, 1) - series_median(x + n - n / 4, n / 4, 1);
    return falls(x, n, least) && series_slopes(x, n) && -end.per > GOES_ON_SDS * end.sd &&
           -end.per * n > GOES_ON_SHARE * whole;
}

static bool runs_over(const struct solids *s, const struct solids_view *view, utc_t now)
{
    double fine[QUICK_BINS], hours[SLOW_HOURS], level, blind = blind_share(view, now);
    if (view->doubted && view->level_days == NULL)
        return false;
    solids_row(s, view->ec_day, view->temp_day, now, fine, QUICK_BINS);
    solids_row(s, view->ec_days, view->temp_days, now, hours, SLOW_HOURS);
    level = series_median(fine + QUICK_BINS - 8, 8, 2);
    double noise = isnan(s->noise) ? 0 : s->noise;
    bool quickly =
        !isnan(level) && goes_down(fine, QUICK_BINS, fmax(fmax(QUICK_SHARE, blind) * level, 4 * noise));
    if (!quickly &&
        (isnan(level) || !goes_down(hours, SLOW_HOURS, fmax(fmax(SLOW_SHARE, blind) * level, 3 * noise))))
        return false;
    return level_says(view, now, 1) && level_tops(view, now) &&
           is_new(view->ec_days, now, level, (quickly ? NEW_QUICK : NEW_SLOW) * level, OVER_DAYS);
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
    return is_new(view->level_days, now, level, 1.0, PAST_DAYS) || before - level > 3 * LEAK_MM;
}

static bool is_too_fast(const struct solids *s)
{
    return s->slope_day > WASTE_SURE_DAY;
}

bool solids_replaces(const struct solids *s, const struct solids_view *view, enum solids_cause cause,
                     enum solids_cause other)
{
    if (cause == other)
        return false;
    if (other == SOLIDS_PROBE_DRIFTS && is_the_water(s, view))
        return cause != SOLIDS_UNKNOWN;
    return (cause == SOLIDS_PROBE_DRIFTS && is_the_probe(s, view)) ||
           (cause == SOLIDS_WASTE && is_too_fast(s)) ||
           (cause == SOLIDS_TOPOFF_STOPPED && level_sinks(s, view));
}

bool solids_is_open(const struct solids *s, const struct solids_view *view, enum solids_cause cause)
{
    bool alone = cause == SOLIDS_TOPOFF_MINERALS && !view->mates_climb;
    return ((cause == SOLIDS_WASTE && !view->sours) || alone) && !is_too_fast(s) && !is_the_water(s, view);
}

/* Until it is there at this pace; NaN when the limit is open, or behind. */
static double days_to(const struct solids *s, double limit, double ec)
{
    double days = log(limit / ec) / s->slope_day;
    return days > 0 ? days : NAN;
}

/* Early on all climbs look alike: it is named when it has gone on for a while, or a limit is near; what
 * the top-off does and leads nowhere for weeks, not at all. A level that falls is judged before. */
static bool may_be_named(const struct solids *s, const struct solids_view *view, enum solids_cause cause,
                         double ec, utc_t now)
{
    double edge = days_to(s, view->ec_hi, ec), away = days_to(s, view->ec_drift, ec);
    double nearest = fmin(edge, away);
    bool passed = ec > view->ec_hi || ec > view->ec_drift; /* or it would be told without its cause */
    bool urgent = passed || edge < OPEN_URGENT_DAYS || away < OPEN_URGENT_AWAY_DAYS;
    bool open = solids_is_open(s, view, cause) && !urgent;
    int64_t wait_ms = !open ? WAIT_MS : cause == SOLIDS_WASTE ? OPEN_WAIT_MS : OPEN_WAIT_TOPOFF_MS;
    if ((cause == SOLIDS_TOPOFF_MINERALS || cause == SOLIDS_TOPOFF_STOPPED) && nearest > HORIZON_DAYS)
        return false;
    return !utc_within(s->climbs_since, now, wait_ms - 1) || edge < URGENT_DAYS;
}

static enum solids_cause creep_cause(struct solids *s, const struct solids_view *view, utc_t now)
{
    double ec = window_mean_over(view->ec_days, now, 2 * MS_PER_HOUR);
    enum solids_cause cause = climb_cause(s, view, ec, now);
    if (!utc_is_set(s->climbs_since))
        s->climbs_since = now;
    return may_be_named(s, view, cause, ec, now) ? cause : SOLIDS_UNKNOWN;
}

enum solids_cause solids_judge(struct solids *s, const struct solids_view *view, utc_t now)
{
    enum solids_cause cause = SOLIDS_UNKNOWN;
    if (view->hand == WITNESS_PROBE)
        s->answer = NAN; /* a test weighs more than what a change before it did, also when it is old itself */
    if (view->level_day != NULL && leaks(s, view, now))
        cause = SOLIDS_LEAK;
    else if (view->ec_day != NULL && runs_over(s, view, now))
        cause = SOLIDS_TOPOFF_OVER;
    else if (level_sinks(s, view))
        cause = is_filled_up(s, view, now) ? SOLIDS_UNKNOWN : SOLIDS_TOPOFF_STOPPED;
    else if (view->ec_day == NULL || isnan(s->block_noise))
        cause = SOLIDS_UNKNOWN;
    else if (solids_climbs(s))
        cause = is_taken_back(s, view, now) ? SOLIDS_UNKNOWN : creep_cause(s, view, now);
    else if (solids_sinks(s) && s->slope_day > -SINK_DAY_MOST)
        cause = view->hand_sink == WITNESS_WATER ? SOLIDS_FINE : SOLIDS_PROBE_DRIFTS;
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
    pack_f64(p, &c->slack, 0, 1e4);
    pack_f64(p, &c->wait, 0, 1e4);
}

void solids_visit(struct solids *s, struct pack *p)
{
    double *numbers[] = { &s->noise,           &s->temp_share, &s->temp_ref_c,       &s->slope_day,
                          &s->slope_sd,        &s->span_days,  &s->today_day,        &s->today_sd,
                          &s->usual_day,       &s->answer,     &s->block_noise,      &s->level_usual_mm_day,
                          &s->evaporation_day, &s->hour_noise, &s->evaporation_most, &s->air };
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
    pack_bool(p, &s->sinks_along);
    pack_bool(p, &s->level_along);
    pack_bool(p, &s->level_usual_low);
    pack_i32(p, &s->teeth, 0, SERIES_HOURS);
    pack_utc(p, &s->service_begin);
    pack_utc(p, &s->service_end);
    pack_utc(p, &s->climbs_since);
    pack_i32(p, &s->cause, SOLIDS_UNKNOWN, SOLIDS_PROBE_DRIFTS);
}
