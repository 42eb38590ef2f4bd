#include "engine/against.h"

#include <math.h>

#include "engine/state.h"
#include "model/journal_check.h"
#include "model/recipe.h"

#define AROUND_MS      (30 * MS_PER_MIN) /* day window: the half hour that ends with the test's own bin */
#define AROUND_LONG_MS (2 * MS_PER_HOUR) /* older tests: hourly means */
#define DISAGREE       2.0
#define FRESH_DAYS     10.0
#define OVERDUE_DAYS   60.0 /* where the quantity has no usual interval of its own */
#define GH_RELATIVE_SD 0.13 /* as derive_report: model, probe, and what animals and food add */
#define KH_ABSOLUTE_SD 0.5
#define HARD_LEAST_SD  0.3

/* One standard uncertainty of a cheap probe between calibrations; half of it right after one. */
static double probe_sd(enum quantity q, double v, double days)
{
    static const struct {
        double least, share;
    } table[Q_COUNT] = {
        [Q_TEMP] = { 0.3, 0 },  [Q_EC] = { 5, 0.03 }, [Q_TDS] = { 4, 0.03 }, [Q_PH] = { 0.1, 0 },
        [Q_DO] = { 0.3, 0.05 }, [Q_ORP] = { 15, 0 },  [Q_LEVEL] = { 2, 0 },
    };
    double sd = fmax(fmax(table[q].least, table[q].share * fabs(v)), quantity_info(q)->reading_sd);
    return days <= FRESH_DAYS ? sd / 2 : sd;
}

static double around(const struct stream_state *s, utc_t t)
{
    utc_t end = { t.ms + AROUND_MS / 2 };
    double v = window_mean_over(&s->day, end, AROUND_MS);
    return isnan(v) ? window_mean_over(&s->days, (utc_t){ t.ms + AROUND_LONG_MS / 2 }, AROUND_LONG_MS) : v;
}

static bool unwell(const struct engine *e, int place, enum quantity q)
{
    static const enum alert_kind kinds[] = { KIND_STUCK, KIND_NOISY, KIND_DRIFTING };
    for (unsigned i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (alert_is_active(e, place, kinds[i], q))
            return true;
    return alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT);
}

static bool twins_agree(const struct engine *e, int stream, double v, double sd, utc_t t)
{
    int twin = e->site->streams[stream].twin;
    double other = twin < 0 ? (double)NAN : around(&e->streams[twin], t);
    return !isnan(other) && fabs(other - v) <= DISAGREE * sd;
}

static void decide(const struct engine *e, int stream, utc_t t, struct against *a)
{
    double every = e->site->plan.calibrate_every_d[a->quantity];
    double overdue = isnan(every) ? OVERDUE_DAYS : every;
    if (unwell(e, e->site->streams[stream].place, a->quantity)) {
        a->doubt = DOUBT_PROBE;
        a->reason = AGAINST_PROBE_UNWELL;
    } else if (twins_agree(e, stream, a->other, a->other_sd, t)) {
        a->doubt = DOUBT_TEST;
        a->reason = AGAINST_TWINS_AGREE;
    } else if (a->calibrated_days <= FRESH_DAYS) {
        a->doubt = DOUBT_TEST;
        a->reason = AGAINST_FRESH_CALIBRATION;
    } else if (isnan(a->calibrated_days) || a->calibrated_days > overdue) {
        a->doubt = DOUBT_PROBE;
        a->reason = AGAINST_PROBE_UNCALIBRATED;
    }
}

static bool beside_probe(const struct engine *e, int tank, utc_t t, struct against *a)
{
    int stream = speaking_stream(e, e->site->tanks[tank].place, a->quantity);
    if (stream < 0 || !e->streams[stream].seen)
        return false;
    a->other = around(&e->streams[stream], t);
    if (isnan(a->other))
        return false;
    utc_t since = fitting_calib_at(&e->streams[stream].fitting, t)->since;
    if (utc_is_set(since) && since.ms <= t.ms && !fitting_is_fresh(&e->streams[stream].fitting))
        a->calibrated_days = (double)(t.ms - since.ms) / (double)MS_PER_DAY;
    a->other_sd = probe_sd(a->quantity, a->other, a->calibrated_days);
    decide(e, stream, t, a);
    return true;
}

/* What the recipe says at the conductivity of that time. */
static bool beside_recipe(const struct engine *e, int tank, utc_t t, struct against *a)
{
    int stream = speaking_stream(e, e->site->tanks[tank].place, Q_EC), water = e->site->tanks[tank].water;
    struct recipe_water w;
    double strength;
    if ((a->quantity != Q_GH && a->quantity != Q_KH) || stream < 0 || !e->streams[stream].seen || water < 0)
        return false;
    double ec = around(&e->streams[stream], t);
    if (isnan(ec) || recipe_strength(e->site, water, ec, &strength) != STATUS_OK ||
        recipe_eval(e->site, water, strength, &w) != STATUS_OK)
        return false;
    a->other = a->quantity == Q_GH ? w.gh_dh : w.kh_dh;
    a->other_sd = fmax(GH_RELATIVE_SD * a->other, HARD_LEAST_SD);
    if (a->quantity == Q_KH)
        a->other_sd = hypot(a->other_sd, KH_ABSOLUTE_SD);
    a->reason = AGAINST_RECIPE;
    return true;
}

bool against_probe(const struct engine *e, int tank, enum quantity q, double hand, double hand_sd, utc_t t,
                   struct against *out)
{
    struct against a = { .quantity = q,
                         .hand = hand,
                         .hand_sd = isnan(hand_sd) ? journal_sd(e->site, "", q, hand, NULL) : hand_sd,
                         .calibrated_days = NAN };
    if (!beside_probe(e, tank, t, &a) && !beside_recipe(e, tank, t, &a))
        return false;
    a.off = a.hand - a.other;
    a.disagree = fabs(a.off) > DISAGREE * hypot(a.hand_sd, a.other_sd);
    *out = a;
    return true;
}

static void put_reason(const struct against *a, struct text *out)
{
    switch (a->reason) {
    case AGAINST_PROBE_UNWELL:
        text_put(out, "doubt the probe: an alert on it stands. Clean it, then lentic calibrate");
        break;
    case AGAINST_PROBE_UNCALIBRATED:
        if (isnan(a->calibrated_days))
            text_put(out, "doubt the probe first: it was never calibrated here. lentic calibrate");
        else
            text_printf(out, "doubt the probe first: last calibrated %.0f days ago. lentic calibrate",
                        a->calibrated_days);
        break;
    case AGAINST_TWINS_AGREE:
        text_put(out, "doubt the test first: two probes agree. Test again with another kit");
        break;
    case AGAINST_FRESH_CALIBRATION:
        text_printf(out, "doubt the test first: the probe was calibrated %.0f days ago. Test again",
                    a->calibrated_days);
        break;
    case AGAINST_RECIPE:
        text_put(out, "that is only an estimate: minerals may have shifted. Test again; if it stays, adjust");
        break;
    case AGAINST_UNCLEAR:
        text_put(out, "nothing tells which is right: test again with another kit before you correct");
        break;
    }
}

void against_words(const struct against *a, struct text *out)
{
    const struct quantity_info *info = quantity_info(a->quantity);
    int d = info->decimals > 0 ? info->decimals : 0;
    text_printf(out, "%s %.*f ± %.2g by hand, %s %.*f ± %.2g: ", info->name, d, a->hand, a->hand_sd,
                a->reason == AGAINST_RECIPE ? "by conductivity and recipe" : "the probe", d, a->other,
                a->other_sd);
    put_reason(a, out);
}
