/* What the dissolved solids of a tank do: learnt every hour, judged every ten minutes. */
#include "engine/state.h"
#include "engine/series.h"
#include "engine/witness.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"

#define LOOK_EVERY_MIN   10
#define LEARN_EVERY_MIN  60
#define QUICK_MS         (150 * MS_PER_MIN)
#define SLOW_MS          (10 * MS_PER_HOUR)
#define FALL_SHARE       0.04 /* an unannounced fall that asks a question */
#define FALL_BLIND_SHARE 0.08 /* when no target is known */
#define FALL_STANDS_MS   MS_PER_DAY
#define PAST_DAYS        7
#define NEW_SHARE        0.01
#define DUE_MOST_DAYS    60.0
#define MATES_LEAST      2
#define AIR_TANKS        64
#define AIR_LEAST        2

const struct window *days_window(const struct engine *e, int place, enum quantity q)
{
    int s = speaking_stream(e, place, q);
    return s < 0 || !e->streams[s].seen ? NULL : &e->streams[s].days;
}

bool place_lives(const struct engine *e, int place, enum quantity q)
{
    return !isnan(value_now(e, place, q));
}

void judge_named(struct engine *e, int place, enum alert_kind kind, enum quantity q, enum tri condition,
                 double value, double limit, const char *evidence, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, q);
    if (slot < 0)
        return;
    if (kind == KIND_DRIFTING) {
        doubt_judge(e, place, q, q == Q_PH ? DOUBT_CREEP : DOUBT_SOLIDS, condition, value, limit, evidence,
                    now, fx);
        return;
    }
    if (condition == TRI_YES && evidence != NULL)
        snprintf(e->alarms.items[slot].pub.evidence, ALERT_EVIDENCE_MAX, "%s", evidence);
    alarm_judge(&e->alarms, slot, condition, value, limit, now, fx);
}

static double target_ec(const struct engine *e, int tank)
{
    int water = e->site->tanks[tank].water;
    return water < 0 ? NAN : e->site->waters[water].target[Q_EC];
}

static double drift_ec(const struct engine *e, int tank)
{
    int water = e->site->tanks[tank].water;
    return water < 0 ? NAN : e->site->waters[water].drift[Q_EC];
}

/* --- what is looked at --- */

static bool mates_climb(const struct engine *e, int tank)
{
    int water = e->site->tanks[tank].water, mates = 0, climbing = 0;
    for (int i = 0; water >= 0 && i < e->site->tank_count; i++) {
        if (i == tank || e->site->tanks[i].water != water || !place_lives(e, e->site->tanks[i].place, Q_EC))
            continue;
        mates++;
        climbing += solids_climbs(&e->tanks[i].solids);
    }
    return climbing >= MATES_LEAST && 2 * climbing >= mates;
}

/* Median of what the other tanks show; those with a lid like this one's first. NaN: fewer than two show it.
 */
static double air_of(const struct engine *e, int tank)
{
    double seen[AIR_TANKS];
    for (int alike = 1; alike >= 0; alike--) {
        int n = 0;
        for (int i = 0; i < e->site->tank_count && n < AIR_TANKS; i++)
            if (i != tank && !isnan(e->tanks[i].solids.air) &&
                (alike == 0 || e->site->tanks[i].lid == e->site->tanks[tank].lid))
                seen[n++] = e->tanks[i].solids.air;
        if (n >= AIR_LEAST)
            return series_median(seen, n, n);
    }
    return NAN;
}

static struct solids_view view_of(const struct engine *e, int tank, utc_t now)
{
    const struct tank *t = &e->site->tanks[tank];
    int place = t->place;
    bool level = place_lives(e, place, Q_LEVEL), ec = place_lives(e, place, Q_EC);
    return (struct solids_view){ .ec_day = ec ? day_window(e, place, Q_EC) : NULL,
                                 .ec_days = ec ? days_window(e, place, Q_EC) : NULL,
                                 .temp_day = day_window(e, place, Q_TEMP),
                                 .temp_days = days_window(e, place, Q_TEMP),
                                 .level_day = level ? day_window(e, place, Q_LEVEL) : NULL,
                                 .level_days = level ? days_window(e, place, Q_LEVEL) : NULL,
                                 .volume_l = t->volume_l,
                                 .lid = t->lid,
                                 .by_hand = isnan(t->topoff_l_day),
                                 .topoff_share = t->topoff_l_day / t->volume_l,
                                 .room_c = value_now(e, e->site->room_place, Q_TEMP),
                                 .air = air_of(e, tank),
                                 .change_share = t->change_l_week / t->volume_l,
                                 .target_ec = target_ec(e, tank),
                                 .ec_hi = t->band[Q_EC].hi,
                                 .ec_drift = target_ec(e, tank) + drift_ec(e, tank),
                                 .doubted = alert_is_active(e, place, KIND_DRIFTING, Q_EC),
                                 .mates_climb = mates_climb(e, tank),
                                 .hand = witness_climb(e, tank, now),
                                 .hand_sink = witness_sink(e, tank, now),
                                 .sours = ph_sours(e, tank) };
}

/* --- steps --- */

static void tell_step(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    const struct solids_step *step = solids_last_step(&t->solids);
    event_add(fx, now, EVENT_CHANGE_SEEN, e->site->tanks[tank].place, Q_EC, step->after - step->before,
              "dissolved solids stepped from %.0f to %.0f µS/cm: water was changed or topped off, %s",
              step->before, step->after,
              step->announced || t->in_service             ? "in the service window"
              : told_change_near(e, tank, step->t) != NULL ? "as was noted"
                                                           : "not announced");
    tank_changed(fx, now, tank);
}

/* The tank's last change, also one of a service window, which is told there. */
static void take_over_step(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    const struct solids_step *step = solids_last_step(&t->solids);
    if (step == NULL || step->t.ms == t->last_change.ms)
        return;
    t->last_change = step->t;
    t->last_step_ec = step->after - step->before;
    tank_changed(fx, now, tank);
}

bool solids_step_is_new(const struct engine *e, int tank, const struct solids_step *step)
{
    const struct window *days = days_window(e, e->site->tanks[tank].place, Q_EC);
    if (days == NULL)
        return true;
    struct span past = solids_range(days, (utc_t){ step->t.ms - 2 * MS_PER_HOUR }, PAST_DAYS);
    if (isnan(past.lo))
        return true;
    return step->after < step->before ? step->after < past.lo * (1 - NEW_SHARE)
                                      : step->after > past.hi * (1 + NEW_SHARE);
}

/* Water of the tank's own kind brings it nearer to its target, and a top-off back to where it was. */
static bool fell_strangely(const struct engine *e, int tank, const struct solids_step *step)
{
    double target = target_ec(e, tank), share = 1 - step->after / step->before;
    bool away = isnan(target) || fabs(step->after - target) > fabs(step->before - target);
    return !step->announced && away && share > (isnan(target) ? FALL_BLIND_SHARE : FALL_SHARE) &&
           !solids_step_is_usual(&e->tanks[tank].solids, step) && solids_step_is_new(e, tank, step);
}

static void watch_fall(struct engine *e, int tank, struct now now, struct effects *fx)
{
    const struct solids_step *step = solids_last_step(&e->tanks[tank].solids);
    char evidence[ALERT_EVIDENCE_MAX];
    int place = e->site->tanks[tank].place;
    if (step == NULL)
        return;
    struct text out = text_over(evidence, sizeof evidence);
    text_printf(&out, "from %.0f to %.0f µS/cm within the hour", step->before, step->after);
    if (!isnan(target_ec(e, tank)))
        text_printf(&out, ", away from the target %.0f µS/cm", target_ec(e, tank));
    text_put(&out, "; lower than the week before; no change was announced");
    bool told = step->announced || told_change_near(e, tank, step->t) != NULL;
    enum tri condition = !utc_within(step->t, now.utc, FALL_STANDS_MS) || told ? TRI_NO
                         : fell_strangely(e, tank, step)                       ? TRI_YES
                                                                               : TRI_KEEP;
    judge_named(e, place, KIND_EC_FALL, Q_COUNT, condition, step->after, step->before, evidence, now, fx);
}

/* --- what is said --- */

static void say_creep(struct text *out, const struct solids *s, const struct creep *c, double ec)
{
    char span[32];
    text_printf(out, "%.0f µS/cm, %.1f %% %s %s", ec, 100 * c->rise, c == &s->sink ? "down over" : "up over",
                span_format((int64_t)(c->hours * (double)MS_PER_HOUR), span, sizeof span));
    if (!isnan(c->usual))
        text_printf(out, " (usual here at most %.1f %%)", 100 * c->usual);
    if (!isnan(s->slope_day))
        text_printf(out, ", %+.1f µS/cm a day", s->slope_day * ec);
}

static void say_level(struct text *out, const struct engine *e, int tank)
{
    const struct solids *s = &e->tanks[tank].solids;
    double level = value_now(e, e->site->tanks[tank].place, Q_LEVEL);
    if (isnan(level))
        return;
    text_printf(out, "; level %.0f mm", level);
    if (s->level_sink.rise > 1)
        text_printf(out, ", %.1f mm lower than it was", s->level_sink.rise);
    else
        text_put(out, ", held");
}

/* Over the shorter span when most of it came then. */
static int64_t span_of_fall(const struct window *w, double v, double was, utc_t now)
{
    double long_ago = window_mean_over(w, (utc_t){ now.ms - SLOW_MS }, 30 * MS_PER_MIN);
    return isnan(long_ago) || fabs(was - v) > fabs(long_ago - v) / 2 ? QUICK_MS : SLOW_MS;
}

static void say_quick(struct text *out, const struct engine *e, int tank, struct now now)
{
    int place = e->site->tanks[tank].place;
    static const struct {
        enum quantity q;
        const char *what, *unit;
    } said[] = { { Q_EC, "", " µS/cm" }, { Q_LEVEL, "level ", " mm" } };
    for (unsigned i = 0; i < 2; i++) {
        const struct window *w = place_lives(e, place, said[i].q) ? day_window(e, place, said[i].q) : NULL;
        if (w == NULL)
            continue;
        double v = window_mean_over(w, now.utc, 20 * MS_PER_MIN);
        if (isnan(v))
            continue;
        double was = window_mean_over(w, (utc_t){ now.utc.ms - QUICK_MS }, 30 * MS_PER_MIN);
        int64_t span_ms = span_of_fall(w, v, was, now.utc);
        if (span_ms != QUICK_MS)
            was = window_mean_over(w, (utc_t){ now.utc.ms - span_ms }, 30 * MS_PER_MIN);
        text_printf(out, "%s%s%.0f%s", out->len > 0 ? "; " : "", said[i].what, v, said[i].unit);
        if (!isnan(was))
            text_printf(out, ", %.0f%s %.10g h before", was, said[i].unit,
                        (double)span_ms / (double)MS_PER_HOUR);
    }
}

static void say_reason(struct text *out, const struct engine *e, int tank, const struct solids_view *view,
                       enum solids_cause cause)
{
    const struct solids *s = &e->tanks[tank].solids;
    double evaporation = 100 * s->evaporation_day;
    bool up = s->climb.rise > s->sink.rise;
    if (cause == SOLIDS_PROBE_DRIFTS && up && view->hand == WITNESS_PROBE)
        text_put(out, "; the hand tests do not climb with it");
    else if (cause == SOLIDS_PROBE_DRIFTS && !isnan(s->answer) && up)
        text_printf(out, "; the last change took %.0f %% of what a real climb would have lost",
                    100 * fmax(s->answer, 0));
    else if (cause == SOLIDS_PROBE_DRIFTS && s->sink.rise > s->climb.rise)
        text_put(out, "; water that nobody changes does not lose solids");
    else if (!isnan(evaporation))
        text_printf(out, "; evaporation explains about %.1f %% a day", evaporation);
    if (cause == SOLIDS_TOPOFF_STOPPED && view->level_days == NULL)
        text_put(out, "; should the level stand as ever, minerals in the top-off water do the same");
    if (cause == SOLIDS_TOPOFF_MINERALS && view->level_days == NULL)
        text_put(out, "; should the level be low, top-off has stopped");
    if (cause == SOLIDS_WASTE && view->sours)
        text_printf(out, "; pH went down by %.2f with it, as rotting food makes it",
                    e->tanks[tank].ph.down.rise);
    if (cause != SOLIDS_PROBE_DRIFTS && view->hand == WITNESS_WATER)
        text_put(out, "; the hand tests climb with it");
    else if (solids_is_open(s, view, cause))
        text_printf(out, "; %sa probe that drifts would look the same so far, a test by hand tells",
                    cause == SOLIDS_TOPOFF_MINERALS ? "waste, or " : "");
}

static void say_evidence(const struct engine *e, int tank, const struct solids_view *view,
                         enum solids_cause cause, char *buf, size_t cap, struct now now)
{
    const struct solids *s = &e->tanks[tank].solids;
    double ec = value_now(e, e->site->tanks[tank].place, Q_EC);
    struct text out = text_over(buf, cap);
    if (cause == SOLIDS_TOPOFF_OVER || cause == SOLIDS_LEAK) {
        say_quick(&out, e, tank, now);
        return;
    }
    if (!isnan(ec))
        say_creep(&out, s, cause == SOLIDS_PROBE_DRIFTS && s->slope_day < 0 ? &s->sink : &s->climb, ec);
    say_level(&out, e, tank);
    say_reason(&out, e, tank, view, cause);
}

/* The nearest limit ahead and when it is reached at this pace. */
static void say_due(const struct engine *e, int tank, struct alert *pub, struct now now)
{
    const struct tank *t = &e->site->tanks[tank];
    const struct solids *s = &e->tanks[tank].solids;
    double ec = value_now(e, t->place, Q_EC), target = target_ec(e, tank);
    int way = s->slope_day > 0 ? 1 : -1;
    double limits[] = { way > 0 ? t->band[Q_EC].hi : t->band[Q_EC].lo, target + way * drift_ec(e, tank) },
           nearest = NAN;
    char number[32], span[32];
    for (unsigned i = 0; i < 2; i++)
        if (way * (limits[i] - ec) > 0)
            nearest = way > 0 ? fmin(nearest, limits[i]) : fmax(nearest, limits[i]);
    double days = log(nearest / ec) / s->slope_day;
    pub->due = UTC_NONE;
    if (!(days > 0 && days < DUE_MOST_DAYS))
        return;
    pub->due = (utc_t){ now.utc.ms + (int64_t)(days * (double)MS_PER_DAY) };
    size_t at = strlen(pub->evidence);
    number_format(number, sizeof number, nearest, 0);
    snprintf(pub->evidence + at, sizeof pub->evidence - at, "; %s %s µS/cm in about %s",
             way > 0 ? "above" : "below", number,
             span_format((int64_t)(days * 24) * MS_PER_HOUR, span, sizeof span));
}

/* --- causes --- */

static const struct {
    enum alert_kind kind;
    enum quantity q;
    enum solids_cause cause;
} causes[] = { { KIND_LEAK, Q_COUNT, SOLIDS_LEAK },
               { KIND_TOPOFF_OVER, Q_COUNT, SOLIDS_TOPOFF_OVER },
               { KIND_TOPOFF_STOPPED, Q_COUNT, SOLIDS_TOPOFF_STOPPED },
               { KIND_TOPOFF_MINERALS, Q_COUNT, SOLIDS_TOPOFF_MINERALS },
               { KIND_WASTE, Q_COUNT, SOLIDS_WASTE },
               { KIND_DRIFTING, Q_EC, SOLIDS_PROBE_DRIFTS } };
#define CAUSES (sizeof causes / sizeof *causes)

/* A creep named once keeps its name until it ends, for the causes look alike while it grows; unless another
 * shows itself plainly, which is told when the wrong one has gone. */
static bool is_creep(unsigned i)
{
    return causes[i].cause != SOLIDS_LEAK && causes[i].cause != SOLIDS_TOPOFF_OVER;
}

static bool named_otherwise(const struct engine *e, int place, enum solids_cause cause)
{
    for (unsigned i = 0; i < CAUSES; i++)
        if (is_creep(i) && causes[i].cause != cause && alert_is_active(e, place, causes[i].kind, causes[i].q))
            return true;
    return false;
}

static enum tri condition_of(const struct engine *e, int tank, unsigned i, enum solids_cause cause,
                             bool replaced)
{
    if (cause == causes[i].cause)
        return is_creep(i) && named_otherwise(e, e->site->tanks[tank].place, cause) ? TRI_KEEP : TRI_YES;
    return cause == SOLIDS_FINE || replaced ? TRI_NO : TRI_KEEP;
}

/* A name that a test, a change of water or the level has refuted misleads: it goes without delay. How fast a
 * climb is may be another thing tomorrow. */
static void end_refuted(struct engine *e, int slot, unsigned i, enum solids_cause cause, struct now now,
                        struct effects *fx)
{
    if (cause != SOLIDS_WASTE && causes[i].kind != KIND_DRIFTING)
        alarm_end(&e->alarms, slot, now, fx);
}

static void judge_causes(struct engine *e, int tank, const struct solids_view *view, enum solids_cause cause,
                         struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    double ec = value_now(e, place, Q_EC), level = value_now(e, place, Q_LEVEL);
    for (unsigned i = 0; i < CAUSES; i++) {
        int slot = slot_find(e->site, place, causes[i].kind, causes[i].q);
        bool replaced = is_creep(i) && solids_replaces(&e->tanks[tank].solids, view, cause, causes[i].cause);
        enum tri condition = condition_of(e, tank, i, cause, replaced);
        if (slot < 0 || (causes[i].kind == KIND_LEAK && rules_wet(e, place)))
            continue; /* the detector has spoken */
        struct alert *pub = &e->alarms.items[slot].pub;
        if (condition == TRI_YES) {
            say_evidence(e, tank, view, cause, pub->evidence, sizeof pub->evidence, now);
            if (is_creep(i))
                say_due(e, tank, pub, now);
        }
        judge_named(e, place, causes[i].kind, causes[i].q, condition,
                    causes[i].kind == KIND_LEAK ? level : ec, NAN, NULL, now, fx);
        if (replaced)
            end_refuted(e, slot, i, cause, now, fx);
    }
}

const char *solids_cause_title(enum solids_cause cause)
{
    for (unsigned i = 0; i < CAUSES; i++)
        if (causes[i].cause == cause)
            return kind_info(causes[i].kind)->title;
    return NULL;
}

enum solids_cause solids_named(const struct engine *e, int place)
{
    for (unsigned i = 0; i < CAUSES; i++)
        if (alert_is_active(e, place, causes[i].kind, causes[i].q))
            return causes[i].cause;
    return SOLIDS_UNKNOWN;
}

void solids_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    int place = e->site->tanks[tank].place;
    int64_t minute = now.utc.ms / MS_PER_MIN;
    if (minute % LOOK_EVERY_MIN != tank % LOOK_EVERY_MIN)
        return;
    if (alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT))
        return;
    struct solids_view view = view_of(e, tank, now.utc);
    if (minute % LEARN_EVERY_MIN == tank % LOOK_EVERY_MIN)
        solids_learn(&t->solids, &view, now.utc);
    if (solids_look(&t->solids, &view, now.utc))
        tell_step(e, tank, now, fx);
    const struct solids_step *step = solids_last_step(&t->solids);
    const struct told_change *told = step == NULL ? NULL : told_change_near(e, tank, step->t);
    if (told != NULL && told->change)
        solids_told(&t->solids, &view, told->litres / e->site->tanks[tank].volume_l);
    take_over_step(e, tank, now, fx);
    enum solids_cause cause = solids_judge(&t->solids, &view, now.utc);
    judge_causes(e, tank, &view, cause, now, fx);
    watch_fall(e, tank, now, fx);
}
