#include "plan/source_facts.h"

#include <math.h>
#include <string.h>

#include "water/median.h"
#include "water/trend.h"

#define SIGMAS         1.28 /* four of five */
#define LEAST_SHARE    0.1  /* of the time, to either side */
#define FAR_DAYS       730.0
#define TESTS_LEAST    4
#define TESTS_SPAN_D   14.0
#define PURE_OLD_D     30.0 /* purified water moves with its unit */
#define CHLORINE_LEAST 0.02 /* mg/L: what kits can tell */
#define CHLORINE_OLD_D 7.0
#define SEASON_SHARE   0.1 /* tests over the year that differ less are one */
#define NOISE_LEAST_EC 0.5 /* uS/cm: of a hand meter in purified water */

/* What never was is older than anything. */
static double age_d(const struct source_water *w, utc_t t)
{
    if (!utc_is_set(t))
        return (double)INFINITY;
    return (double)(w->t.ms - t.ms) / (double)MS_PER_DAY;
}

static const char *name_of(const struct site *site, int source)
{
    return site->places[site->sources[source].place].id;
}

/* --- values --- */

static struct source_value ec_of(const struct diary_source *s)
{
    const struct value_report *live = &s->live.ec;
    struct source_value v = s->tests[Q_EC];
    if (live->origin != ORIGIN_PROBE || isnan(live->value) ||
        (utc_is_set(v.t) && live->stale && v.t.ms > live->t.ms))
        return v;
    v.value = live->value;
    v.sd = NAN;
    v.origin = ORIGIN_PROBE;
    v.t = live->t;
    return v;
}

static void take_rejection(const struct site *site, const struct diary *diary, struct source_water *w)
{
    const struct source *source = &site->sources[w->source];
    int feed = source->feed < 0 ? -1 : site_source_at(site, source->feed);
    w->rejection = w->rejection_sd = w->feed_ec = NAN;
    w->feed_t = UTC_NONE;
    if (feed < 0 || feed == w->source || source->kind != SOURCE_PURIFIED)
        return;
    struct source_value in = ec_of(&diary->sources[feed]), pure = w->values[Q_EC];
    if (in.origin == ORIGIN_NONE || !(in.value > 0))
        return;
    w->feed_ec = in.value;
    w->feed_t = in.t;
    if (pure.origin == ORIGIN_NONE || pure.value > in.value)
        return; /* more than its feed: one of them is wrong, and said to be */
    double pure_sd = isnan(pure.sd) ? NOISE_LEAST_EC : pure.sd;
    double in_sd = isnan(in.sd) ? 0.02 * in.value : in.sd;
    w->rejection = 1 - pure.value / in.value;
    w->rejection_sd = hypot(pure_sd / in.value, pure.value * in_sd / (in.value * in.value));
}

/* --- trend --- */

static int tests_since(const struct diary_source *s, utc_t now, double *t, double *v)
{
    int n = 0;
    for (int i = 0; i < s->ec_count; i++) {
        if (utc_is_set(s->renewed) && s->ec[i].t.ms < s->renewed.ms)
            continue;
        t[n] = (double)(s->ec[i].t.ms - now.ms) / (double)MS_PER_DAY;
        v[n++] = s->ec[i].ec;
    }
    return n;
}

/* Theil-Sen; the uncertainty from the residuals, not less than what a hand meter may be off. */
static struct source_trend trend_of_tests(const struct diary_source *s, utc_t now)
{
    double t[DIARY_SOURCE_TESTS], v[DIARY_SOURCE_TESTS], off[DIARY_SOURCE_TESTS];
    double scratch[TREND_SCRATCH(DIARY_SOURCE_TESTS)], mean = 0, spread = 0;
    struct source_trend out = { NAN, NAN, 0 };
    struct trend line;
    int n = tests_since(s, now, t, v);
    if (n < TESTS_LEAST || t[0] - t[n - 1] < TESTS_SPAN_D ||
        trend_fit(t, v, (size_t)n, scratch, &line, NULL) != STATUS_OK)
        return out;
    for (int i = 0; i < n; i++)
        mean += t[i] / n;
    for (int i = 0; i < n; i++) {
        off[i] = fabs(v[i] - line.intercept - line.slope * t[i]);
        spread += (t[i] - mean) * (t[i] - mean);
    }
    out.per_day = line.slope;
    out.sd = fmax(median_of(off, (size_t)n) / 0.6745, NOISE_LEAST_EC) / sqrt(spread);
    out.span_d = t[0] - t[n - 1];
    return out;
}

/* A probe's weeks from before the renewal tell nothing of the new membrane. */
static void take_trend(const struct diary_source *s, struct source_water *w)
{
    w->trend = s->live.trend;
    if (utc_is_set(s->renewed) && s->live.trend.span_d > age_d(w, s->renewed))
        w->trend = (struct source_trend){ NAN, NAN, 0 };
    if (!isnan(w->trend.per_day) || s->live.ec.origin == ORIGIN_PROBE)
        return;
    w->trend = trend_of_tests(s, w->t);
    w->trend_by_tests = !isnan(w->trend.per_day);
}

/* --- exhaustion --- */

static utc_t in_days(const struct source_water *w, double days)
{
    return (utc_t){ w->t.ms + (int64_t)(days * (double)MS_PER_DAY) };
}

static void take_exhaustion(const struct site *site, struct source_water *w)
{
    const struct source *source = &site->sources[w->source];
    double ec = w->values[Q_EC].value, rise = w->trend.per_day;
    w->exhausted = w->early = w->late = UTC_NONE;
    w->exhausted_ec = NAN;
    if (source->kind != SOURCE_PURIFIED)
        return;
    w->exhausted_ec = source->exhausted_ec > 0 ? source->exhausted_ec : SOURCE_EXHAUSTED_EC;
    if (w->values[Q_EC].origin == ORIGIN_NONE)
        return;
    double gap = w->exhausted_ec - ec, days = gap / rise;
    if (gap <= 0) {
        w->wear = SOURCE_EXHAUSTED;
        return;
    }
    if (isnan(rise))
        return;
    w->wear = rise > w->trend.sd && days < FAR_DAYS ? SOURCE_WEARING : SOURCE_STEADY;
    if (w->wear != SOURCE_WEARING)
        return;
    double fast = rise + SIGMAS * w->trend.sd, slow = rise - SIGMAS * w->trend.sd;
    w->exhausted = in_days(w, days);
    w->early = in_days(w, fmin(gap / fast, (1 - LEAST_SHARE) * days));
    if (slow > 0 && gap / slow < 2 * FAR_DAYS)
        w->late = in_days(w, fmax(gap / slow, (1 + LEAST_SHARE) * days));
}

void source_facts_eval(const struct site *site, int source, const struct diary *diary,
                       struct source_water *out)
{
    const struct diary_source *s = &diary->sources[source];
    *out = (struct source_water){ .source = source, .t = diary->now };
    memcpy(out->values, s->tests, sizeof out->values);
    out->values[Q_EC] = ec_of(s);
    take_rejection(site, diary, out);
    take_trend(s, out);
    take_exhaustion(site, out);
}

/* --- what to beware of --- */

static bool is_hard(const struct source *s)
{
    return s->kind == SOURCE_TAP || s->kind == SOURCE_WELL;
}

static const char *dechlorinate(const struct source *s)
{
    switch (s->disinfectant) {
    case DISINFECTANT_NONE:
        return NULL;
    case DISINFECTANT_CHLORINE:
        return "it carries chlorine, which kills shrimp: use a conditioner, or air it for a day, and test it "
               "(cl2)";
    case DISINFECTANT_CHLORAMINE:
        return "it carries chloramine, which kills shrimp and does not air out: use a conditioner made for "
               "it, "
               "and test cl2 and tan";
    case DISINFECTANT_UNKNOWN:
        break;
    }
    return "it may carry chlorine or chloramine, which kill shrimp: ask the supplier, use a conditioner for "
           "both, test it (cl2)";
}

static bool may_hold_chlorine(const struct source *s)
{
    return s->kind == SOURCE_TAP ? s->disinfectant != DISINFECTANT_NONE : s->disinfectant > DISINFECTANT_NONE;
}

static void remark_chlorine(const struct site *site, const struct source_water *w,
                            struct week_remark *remarks, int *count)
{
    const struct source *s = &site->sources[w->source];
    const struct source_value *cl2 = &w->values[Q_CL2];
    if (cl2->origin != ORIGIN_NONE && cl2->value > CHLORINE_LEAST && age_d(w, cl2->t) < CHLORINE_OLD_D)
        week_remark(
            remarks, count, WEEK_CAUTION,
            "%s: %.2f mg/L of chlorine by the test: not into any tank before it is treated and tested "
            "again",
            name_of(site, w->source), cl2->value);
    else if (may_hold_chlorine(s))
        week_remark(remarks, count, WEEK_CAUTION, "%s: %s", name_of(site, w->source), dechlorinate(s));
}

/* Hardness of tap and well moves with the seasons. */
static void remark_season(const struct site *site, const struct source_water *w, struct week_remark *remarks,
                          int *count)
{
    static const enum quantity asked[] = { Q_GH, Q_KH };
    const char *id = name_of(site, w->source);
    for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
        const struct source_value *v = &w->values[asked[i]];
        const char *what = quantity_info(asked[i])->name;
        if (v->origin == ORIGIN_NONE) {
            week_remark(
                remarks, count, WEEK_MISSING,
                "%s: no %s is known; note your test or the supplier's analysis: lentic note source/%s "
                "test gh=.. kh=.. ec=..",
                id, what, id);
            return;
        }
        if (age_d(w, v->t) < SOURCE_TEST_OLD_D)
            continue;
        if (v->tests > 1 && v->hi - v->lo > SEASON_SHARE * v->value)
            week_remark(
                remarks, count, WEEK_ASSUMED,
                "%s: %s %.4g °dH is %.0f days old, and over the year it was %.4g to %.4g: test it again", id,
                what, v->value, age_d(w, v->t), v->lo, v->hi);
        else
            week_remark(remarks, count, WEEK_ASSUMED,
                        "%s: %s %.4g °dH is %.0f days old, of another season: test it again", id, what,
                        v->value, age_d(w, v->t));
        return;
    }
}

static void remark_wear(const struct site *site, const struct source_water *w, struct week_remark *remarks,
                        int *count)
{
    const char *id = name_of(site, w->source);
    if (w->wear == SOURCE_EXHAUSTED)
        week_remark(remarks, count, WEEK_CAUTION,
                    "%s: %.0f µS/cm are beyond %.4g: see to membrane, resin and filters before water is made "
                    "from it",
                    id, w->values[Q_EC].value, w->exhausted_ec);
    if (isnan(w->rejection) && w->values[Q_EC].value > w->feed_ec)
        week_remark(remarks, count, WEEK_CAUTION,
                    "%s: its water has more (%.0f µS/cm) than its feed (%.0f): are the two probes or tests "
                    "exchanged?",
                    id, w->values[Q_EC].value, w->feed_ec);
    if (!isnan(w->rejection) && age_d(w, w->feed_t) > SOURCE_TEST_OLD_D)
        week_remark(remarks, count, WEEK_ASSUMED,
                    "%s: what it holds back is reckoned with a feed of %.0f µS/cm that is %.0f days old", id,
                    w->feed_ec, age_d(w, w->feed_t));
}

void source_facts_remarks(const struct site *site, const struct source_water *w, struct week_remark *remarks,
                          int *count)
{
    remark_wear(site, w, remarks, count);
    remark_chlorine(site, w, remarks, count);
    if (is_hard(&site->sources[w->source]))
        remark_season(site, w, remarks, count);
}

/* --- what a water is made from --- */

static int source_of(const struct site *site, int place)
{
    return place < 0 ? -1 : site_source_at(site, place);
}

bool source_facts_caution(const struct site *site, int water, struct text *out)
{
    const struct water *w = &site->waters[water];
    const int made_from[] = { source_of(site, w->source), source_of(site, w->blend) };
    for (int i = 0; i < 2; i++)
        if (made_from[i] >= 0 && may_hold_chlorine(&site->sources[made_from[i]])) {
            text_printf(out, "%s: %s", name_of(site, made_from[i]),
                        dechlorinate(&site->sources[made_from[i]]));
            return true;
        }
    return false;
}

struct minerals {
    double ec, gh, kh, no3;
};

static double known_or(const struct source_value *v, double otherwise)
{
    return v->origin == ORIGIN_NONE ? otherwise : v->value;
}

static enum status minerals_of(const struct site *site, int source, const struct diary *diary,
                               struct minerals *out, struct why *why)
{
    *out = (struct minerals){ 0, 0, 0, 0 };
    if (source < 0)
        return STATUS_OK;
    struct source_water w;
    source_facts_eval(site, source, diary, &w);
    bool hard = is_hard(&site->sources[source]);
    bool fresh = age_d(&w, w.values[Q_EC].t) < PURE_OLD_D;
    out->ec = hard ? known_or(&w.values[Q_EC], NAN) : fresh ? known_or(&w.values[Q_EC], 0) : 0;
    out->gh = known_or(&w.values[Q_GH], hard ? NAN : 0);
    out->kh = known_or(&w.values[Q_KH], hard ? NAN : 0);
    out->no3 = known_or(&w.values[Q_NO3], hard ? NAN : 0);
    if (!isnan(out->gh) && !isnan(out->kh))
        return STATUS_OK;
    const char *id = name_of(site, source);
    return why_say(why, STATUS_NONE,
                   "what %s holds is not known: lentic note source/%s test gh=.. kh=.. ec=.. (your test, or "
                   "the supplier's analysis)",
                   id, id);
}

enum status source_facts_base(const struct site *site, int water, const struct diary *diary,
                              struct mix_source *out, double *no3, struct why *why)
{
    const struct water *w = &site->waters[water];
    struct minerals a, b = { 0, 0, 0, 0 };
    int blend = source_of(site, w->blend);
    double share = blend < 0 ? 0 : w->blend_share;
    *out = (struct mix_source){ 0, 0, 0, 0 };
    *no3 = NAN;
    enum status st = minerals_of(site, source_of(site, w->source), diary, &a, why);
    if (st == STATUS_OK && blend >= 0)
        st = minerals_of(site, blend, diary, &b, why);
    if (st != STATUS_OK)
        return st;
    *out = (struct mix_source){ a.ec + share * (b.ec - a.ec), a.gh + share * (b.gh - a.gh),
                                a.kh + share * (b.kh - a.kh), share };
    *no3 = a.no3 + share * (b.no3 - a.no3);
    return STATUS_OK;
}
