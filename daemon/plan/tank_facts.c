#include "plan/tank_facts.h"

#include <math.h>
#include <stdio.h>

#include "plan/mix.h"
#include "plan/source_facts.h"

#define PROBE_OLD_MS   (6 * MS_PER_HOUR) /* of a silent probe: the water has moved on */
#define AIR_SHARE      0.1               /* of the target */
#define BATCH_OLD_MS   (14 * MS_PER_DAY) /* used up, or stood too long */
#define NO3_OLD_D      21.0
#define TREND_DAYS     1.5 /* less is weather */
#define TREND_SIGMAS   2.0
#define DOUBT_SIGMAS   2.0
#define NO3_APART_MS   (2 * MS_PER_DAY)
#define CALENDAR_DAYS  7.0
#define BATCH_SAMPLE_L 10.0

struct facts {
    const struct site *site;
    const struct tank *tank;
    const struct tank_report *report;
    const struct diary_tank *diary;
    const struct diary *all;
    const struct diary_water *batch; /* NULL: no water is named */
    struct week_tank *w;
};

static void say(struct facts *f, enum week_remark_kind kind, const char *text)
{
    week_remark(f->w->remarks, &f->w->remark_count, kind, "%s", text);
}

static const char *title(int axis)
{
    return axis == WEEK_EC ? "EC" : quantity_info(week_quantity((enum week_axis)axis))->title;
}

/* --- in the tank --- */

/* Nitrate moves within weeks: a test stands until the next one is due. */
static bool is_fresh(const struct facts *f, const struct value_report *v, enum quantity q)
{
    int64_t age_ms = f->w->from.ms - v->t.ms;
    if (v->origin == ORIGIN_HAND && q == Q_NO3)
        return (double)age_ms <= NO3_OLD_D * (double)MS_PER_DAY;
    if (v->origin == ORIGIN_HAND)
        return !v->stale;
    return v->origin == ORIGIN_PROBE && (!v->stale || age_ms <= PROBE_OLD_MS) && v->flag != FLAG_FAIL &&
           v->flag != FLAG_MISSING;
}

/* A probe that hangs in the air shows next to nothing, and no change of water mends that. */
static bool is_in_the_air(const struct facts *f, const struct value_report *v, enum quantity q)
{
    double target = f->tank->water < 0 ? NAN : f->site->waters[f->tank->water].target[Q_EC];
    return q == Q_EC && v->origin == ORIGIN_PROBE && v->value < AIR_SHARE * target;
}

static struct week_value measured(const struct facts *f, int axis)
{
    enum quantity q = week_quantity((enum week_axis)axis);
    const struct value_report *v = &f->report->values[q];
    if (is_in_the_air(f, v, q))
        week_remark(f->w->remarks, &f->w->remark_count, WEEK_CAUTION,
                    "the EC probe shows %.0f µS/cm: is it out of the water? It is not reckoned with",
                    v->value);
    if (isnan(v->value) || !is_fresh(f, v, q) || is_in_the_air(f, v, q))
        return (struct week_value){ NAN, WEEK_UNKNOWN, UTC_NONE };
    return (struct week_value){ v->value, v->origin == ORIGIN_HAND ? WEEK_HAND : WEEK_PROBE, v->t };
}

static void say_assumed(struct facts *f, int axis, const char *by)
{
    const struct value_report *v = &f->report->values[week_quantity((enum week_axis)axis)];
    const struct quantity_info *q = quantity_info(week_quantity((enum week_axis)axis));
    const struct week_value *taken = &f->w->now[axis];
    char since[48] = "no value";
    if (v->origin != ORIGIN_NONE && utc_is_set(v->t))
        (void)snprintf(since, sizeof since, "no %s for %.0f days",
                       v->origin == ORIGIN_HAND ? "test" : "value",
                       (double)(f->w->from.ms - v->t.ms) / (double)MS_PER_DAY);
    week_remark(f->w->remarks, &f->w->remark_count, WEEK_ASSUMED, "%s of %s: %.*f %s is assumed, %s", since,
                title(axis), q->decimals, taken->value, q->unit, by);
}

/* Measured; else reckoned from the conductivity by the recipe; else as the water should be. */
static void take_now(struct facts *f, int axis)
{
    enum derived estimate = axis == WEEK_GH ? DERIVED_GH_EST : DERIVED_KH_EST;
    struct week_value *v = &f->w->now[axis];
    *v = measured(f, axis);
    if (v->origin != WEEK_UNKNOWN || axis == WEEK_NO3 || axis == WEEK_TEMP)
        return;
    const struct value_report *r = &f->report->derived[estimate];
    if ((axis == WEEK_GH || axis == WEEK_KH) && r->origin != ORIGIN_NONE && !isnan(r->value)) {
        *v = (struct week_value){ r->value, WEEK_RECKONED, r->t };
        say_assumed(f, axis, "what the recipe has at this EC");
    } else if (!isnan(f->w->fresh[axis].value)) {
        *v = (struct week_value){ f->w->fresh[axis].value, WEEK_TARGET, UTC_NONE };
        say_assumed(f, axis, "as of its water");
    }
}

/* What a change since the test has thinned. */
static void thin_nitrate(struct facts *f)
{
    struct week_value *v = &f->w->now[WEEK_NO3];
    if (v->origin != WEEK_HAND || !utc_is_set(f->diary->changed) || f->diary->changed.ms <= v->t.ms ||
        !(f->diary->changed_l > 0))
        return;
    v->value *= fmax(1 - f->diary->changed_l / f->tank->volume_l, 0);
    week_remark(f->w->remarks, &f->w->remark_count, WEEK_ASSUMED,
                "the change of %.3g L since the nitrate test is taken off: %.0f mg/L now",
                f->diary->changed_l, v->value);
}

static void take_trends(struct facts *f)
{
    const struct solids_report *s = &f->report->solids;
    const struct diary_test *no3 = &f->diary->tests[Q_NO3];
    bool changed_between = utc_is_set(f->w->last_change) && f->w->last_change.ms > no3->t_before.ms;
    if (f->w->now[WEEK_EC].origin == WEEK_PROBE && s->span_days >= TREND_DAYS &&
        fabs(s->ec_per_day) > TREND_SIGMAS * s->ec_per_day_sd)
        f->w->per_day[WEEK_EC] = s->ec_per_day;
    if (f->w->now[WEEK_NO3].origin == WEEK_HAND && utc_is_set(no3->t_before) && !changed_between &&
        no3->t.ms - no3->t_before.ms >= NO3_APART_MS && no3->value > no3->before)
        f->w->per_day[WEEK_NO3] =
            (no3->value - no3->before) * (double)MS_PER_DAY / (double)(no3->t.ms - no3->t_before.ms);
}

/* --- the water that goes in --- */

static double batch_value(const struct diary_water *b, int axis)
{
    return axis == WEEK_EC ? b->ec : axis == WEEK_GH ? b->gh : axis == WEEK_KH ? b->kh : (double)NAN;
}

static struct week_value from_target(const struct facts *f, int axis, const struct mix_plan *mix)
{
    double target = f->site->waters[f->tank->water].target[week_quantity((enum week_axis)axis)];
    const double mixed[WEEK_TEMP] = { mix->ec_us_cm, mix->gh_dh, mix->kh_dh, NAN };
    if (!isnan(target))
        return (struct week_value){ target, WEEK_TARGET, UTC_NONE };
    return (struct week_value){ mixed[axis], isnan(mixed[axis]) ? WEEK_UNKNOWN : WEEK_MIXED, UTC_NONE };
}

/* A batch that missed its water is not what shall go in. */
static void take_batch(struct facts *f, int axis)
{
    const struct week_value *target = &f->w->fresh[axis];
    double value = batch_value(f->batch, axis);
    double drift = f->site->waters[f->tank->water].drift[week_quantity((enum week_axis)axis)];
    if (f->batch->batch == 0 || f->w->from.ms - f->batch->t.ms > BATCH_OLD_MS || isnan(value))
        return;
    double off = fabs(value - target->value);
    if (off > (isnan(drift) ? 0.1 * target->value : drift))
        week_remark(f->w->remarks, &f->w->remark_count, WEEK_CAUTION,
                    "batch %lld, mixed last, has %s %.4g instead of %.4g: do not use it as it is",
                    (long long)f->batch->batch, title(axis), value, target->value);
    else
        f->w->fresh[axis] = (struct week_value){ value, WEEK_BATCH, f->batch->t };
}

static void take_fresh_temperature(struct facts *f, double room_c)
{
    struct week_value *fresh = &f->w->fresh[WEEK_TEMP];
    const struct week_value *tank = &f->w->now[WEEK_TEMP];
    if (!isnan(room_c))
        *fresh = (struct week_value){ room_c, WEEK_ROOM, f->w->from };
    else
        *fresh =
            (struct week_value){ tank->value, isnan(tank->value) ? WEEK_UNKNOWN : WEEK_BROUGHT, UTC_NONE };
}

/* What it is made from may hold nitrate, and chlorine. */
static void take_base(struct facts *f, struct mix_source *base)
{
    char buf[WEEK_REMARK_TEXT];
    struct text caution = text_over(buf, sizeof buf);
    struct why why;
    double no3;
    enum status st = source_facts_base(f->site, f->tank->water, f->all, base, &no3, &why);
    bool pure = st == STATUS_OK && no3 == 0;
    f->w->fresh[WEEK_NO3] = (struct week_value){ no3,
                                                 isnan(no3) ? WEEK_UNKNOWN
                                                 : pure     ? WEEK_PURE
                                                            : WEEK_SOURCE,
                                                 UTC_NONE };
    if (source_facts_caution(f->site, f->tank->water, &caution))
        say(f, WEEK_CAUTION, buf);
}

static void take_fresh(struct facts *f)
{
    struct mix_source base;
    struct mix_plan mix = { .ec_us_cm = NAN, .gh_dh = NAN, .kh_dh = NAN };
    if (f->tank->water < 0) {
        for (int axis = 0; axis < WEEK_AXES; axis++)
            f->w->fresh[axis] = (struct week_value){ NAN, WEEK_UNKNOWN, UTC_NONE };
        say(f, WEEK_MISSING, "no water is named for this tank: water = \"...\" tells what to change it with");
        return;
    }
    take_base(f, &base);
    if (mix_eval(f->site, f->tank->water, BATCH_SAMPLE_L, &base, &mix, NULL) != STATUS_OK)
        mix = (struct mix_plan){ .ec_us_cm = NAN, .gh_dh = NAN, .kh_dh = NAN };
    for (int axis = 0; axis < WEEK_NO3; axis++) {
        f->w->fresh[axis] = from_target(f, axis, &mix);
        take_batch(f, axis);
    }
}

/* --- limits, calendar --- */

static void take_limits(struct facts *f)
{
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        enum quantity q = week_quantity((enum week_axis)axis);
        struct span *limit = &f->w->limit[axis];
        *limit = f->tank->band[q];
        f->w->step[axis] = f->tank->step[q];
        if (axis == WEEK_NO3 && isnan(limit->hi))
            limit->hi = f->site->plan.no3_most;
        if (f->tank->water < 0)
            continue;
        const struct water *water = &f->site->waters[f->tank->water];
        limit->lo = fmax(limit->lo, water->target[q] - water->drift[q]);
        limit->hi = fmin(limit->hi, water->target[q] + water->drift[q]);
    }
}

static void take_calendar(struct facts *f)
{
    struct week_tank *w = f->w;
    w->every_d = NAN;
    w->last_change = f->diary->changed;
    if (utc_is_set(f->report->last_change) &&
        (!utc_is_set(w->last_change) || f->report->last_change.ms > w->last_change.ms))
        w->last_change = f->report->last_change;
    if (utc_is_set(w->last_change) && w->last_change.ms > w->from.ms)
        w->last_change = w->from;
    if (isnan(f->tank->change_l_week)) {
        say(f, WEEK_MISSING, "no usual change is named: change_l_week = 3.0; makes a calendar");
        return;
    }
    if (!(f->tank->change_l_week > 0))
        return;
    w->every_d = isnan(f->tank->change_every_d) ? CALENDAR_DAYS : f->tank->change_every_d;
    w->litres_each = fmin(f->tank->change_l_week * w->every_d / CALENDAR_DAYS, f->tank->volume_l);
    if (!utc_is_set(w->last_change))
        say(f, WEEK_ASSUMED, "no change is known yet: one is taken to be due now; note each (lentic note)");
}

/* --- top-off --- */

static void take_topoff(struct facts *f, const struct diary *diary)
{
    struct week_tank *w = f->w;
    double noted = diary_topoff_l_day(diary, w->tank);
    double seen = f->report->solids.evaporation_day * f->tank->volume_l;
    w->reservoir_l = f->tank->reservoir_l;
    w->reservoir_lasts_d = NAN;
    w->reservoir_filled = w->reservoir_empty = UTC_NONE;
    w->topoff_l_day = !isnan(f->tank->topoff_l_day) ? f->tank->topoff_l_day : !isnan(noted) ? noted : seen;
    w->topoff_from = !isnan(f->tank->topoff_l_day)            ? WEEK_TOPOFF_SAID
                     : !isnan(noted)                          ? WEEK_TOPOFF_NOTED
                     : isnan(seen)                            ? WEEK_TOPOFF_UNKNOWN
                     : f->report->solids.evaporation_reckoned ? WEEK_TOPOFF_RECKONED
                                                              : WEEK_TOPOFF_SEEN;
    if (isnan(w->topoff_l_day))
        say(f, WEEK_MISSING,
            "what evaporates is not known: a level probe, top-offs noted, or topoff (litres a day) would "
            "tell");
    if (isnan(w->reservoir_l) || !(w->topoff_l_day > 0))
        return;
    w->reservoir_lasts_d = w->reservoir_l / w->topoff_l_day;
    w->reservoir_filled = f->diary->topped;
    if (utc_is_set(w->reservoir_filled))
        w->reservoir_empty.ms = w->reservoir_filled.ms + (int64_t)(w->reservoir_lasts_d * (double)MS_PER_DAY);
}

/* --- hand tests --- */

static bool is_asked(const struct facts *f, enum quantity q)
{
    bool has_probe = site_stream_of(f->site, f->tank->place, q) >= 0;
    bool has_band = !isnan(f->tank->band[q].lo) || !isnan(f->tank->band[q].hi);
    bool has_target = f->tank->water >= 0 && !isnan(f->site->waters[f->tank->water].target[q]);
    return !isnan(f->site->plan.test_every_d[q]) && !has_probe &&
           (has_band || has_target || (q == Q_NO3 && f->tank->stock >= 0));
}

static utc_t last_test(const struct facts *f, enum quantity q)
{
    const struct value_report *v = &f->report->values[q];
    utc_t noted = f->diary->tests[q].t;
    return v->origin == ORIGIN_HAND && (!utc_is_set(noted) || v->t.ms > noted.ms) ? v->t : noted;
}

static void take_tests(struct facts *f)
{
    int64_t until = f->w->from.ms + (int64_t)(f->w->days * (double)MS_PER_DAY);
    for (int q = 0; q < Q_COUNT; q++) {
        if (!is_asked(f, (enum quantity)q))
            continue;
        struct week_test test = { (enum quantity)q, last_test(f, (enum quantity)q), f->w->from,
                                  f->site->plan.test_every_d[q] };
        if (utc_is_set(test.last))
            test.due.ms = test.last.ms + (int64_t)(test.every_d * (double)MS_PER_DAY);
        if (test.due.ms < f->w->from.ms)
            test.due = f->w->from;
        if (test.due.ms < until)
            f->w->tests[f->w->test_count++] = test;
    }
}

/* A test that does not belong to the conductivity measured beside it is worth a second drop before litres. */
static void doubt_tests(struct facts *f)
{
    for (int axis = WEEK_GH; axis <= WEEK_KH; axis++) {
        enum derived estimate = axis == WEEK_GH ? DERIVED_GH_EST : DERIVED_KH_EST;
        const struct value_report *r = &f->report->derived[estimate];
        double off = fabs(f->w->now[axis].value - r->value);
        if (f->w->now[axis].origin != WEEK_HAND || r->origin == ORIGIN_NONE ||
            !(off > DOUBT_SIGMAS * f->report->derived_sd[estimate]))
            continue;
        f->w->doubted |= 1u << axis;
        week_remark(f->w->remarks, &f->w->remark_count, WEEK_CAUTION,
                    "%s %.1f by the test, but the recipe has %.1f at this EC: repeat the test before a large "
                    "change",
                    title(axis), f->w->now[axis].value, r->value);
    }
}

static void take_values(struct facts *f, double room_c)
{
    take_fresh(f);
    for (int axis = 0; axis < WEEK_AXES; axis++)
        take_now(f, axis);
    take_fresh_temperature(f, room_c);
    doubt_tests(f);
    if (f->w->now[WEEK_EC].origin != WEEK_PROBE && f->w->now[WEEK_EC].origin != WEEK_HAND)
        say(f, WEEK_MISSING, "the step of EC cannot be told for sure: no fresh value of it in the tank");
    if (f->w->now[WEEK_TEMP].origin == WEEK_UNKNOWN)
        say(f, WEEK_MISSING, "no fresh temperature of the tank: bring new water to the tank's own");
}

void tank_facts(const struct site *site, const struct tank_report *report, const struct diary *diary,
                double room_c, int days, struct week_tank *out)
{
    const struct tank *tank = &site->tanks[report->tank];
    *out = (struct week_tank){
        .tank = report->tank, .from = report->t, .days = days, .most_share = site->plan.most_share
    };
    struct facts f = { site, tank, report, &diary->tanks[report->tank], diary, NULL, out };
    if (tank->water >= 0)
        f.batch = &diary->waters[tank->water];
    take_limits(&f);
    take_calendar(&f);
    take_values(&f, room_c);
    thin_nitrate(&f);
    take_trends(&f);
    take_topoff(&f, diary);
    take_tests(&f);
}
