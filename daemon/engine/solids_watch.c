/* Every ten minutes: what the dissolved solids of a tank do, and what tanks of one water do together. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"

#define LOOK_EVERY_MIN    10
#define BATCH_SPAN_MS     MS_PER_DAY
#define BATCH_LEAST_TANKS 2
#define DRY_SHARE         0.12 /* of the hour before: the probe hangs in the air */
#define DRY_MOST_US_CM    25.0
#define AIR_JUMP_SHARE    0.55 /* of the way to the room */
#define AIR_GAP_C         1.5
#define PH_DRIFT_DAY      0.025
#define PH_DRIFT_SUM      0.12
#define SOURCE_RISE_US_CM 8.0
#define SOURCE_TIMES      1.5

static const struct window *days_window(const struct engine *e, int place, enum quantity q)
{
    int s = speaking_stream(e, place, q);
    return s < 0 || !e->streams[s].seen ? NULL : &e->streams[s].days;
}

static bool lives(const struct engine *e, int place, enum quantity q)
{
    return !isnan(value_now(e, place, q));
}

static void judge(struct engine *e, int place, enum alert_kind kind, enum quantity q, enum tri condition,
                  double value, double limit, const char *evidence, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, q);
    if (slot < 0)
        return;
    if (condition == TRI_YES && evidence != NULL)
        snprintf(e->alarms.items[slot].pub.evidence, ALERT_EVIDENCE_MAX, "%s", evidence);
    alarm_judge(&e->alarms, slot, condition, value, limit, now, fx);
}

/* --- one tank --- */

static void tell_step(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    const struct solids_step *step = solids_last_step(&t->solids);
    t->last_change = now.utc;
    t->last_step_ec = step->after - step->before;
    event_add(fx, now, EVENT_CHANGE_SEEN, e->site->tanks[tank].place, Q_EC, t->last_step_ec,
              "dissolved solids stepped from %.0f to %.0f µS/cm: water was changed%s", step->before,
              step->after, t->in_service ? " in the service window" : "");
    tank_changed(fx, now, tank);
}

static void solids_evidence(const struct engine *e, int tank, char *buf, size_t cap)
{
    const struct solids *s = &e->tanks[tank].solids;
    int place = e->site->tanks[tank].place;
    double ec = value_now(e, place, Q_EC), level = value_now(e, place, Q_LEVEL);
    struct text out = text_over(buf, cap);
    text_printf(&out, "%.0f µS/cm now", ec);
    if (!isnan(s->slope_day))
        text_printf(&out, ", %+.1f µS/cm a day (%+.1f %%) over %.1f days", s->slope_day,
                    100 * s->slope_day / ec, s->span_days);
    if (!isnan(level))
        text_printf(&out, ", level %.0f mm", level);
}

static void judge_causes(struct engine *e, int tank, enum solids_cause cause, struct now now,
                         struct effects *fx)
{
    static const struct {
        enum alert_kind kind;
        enum quantity q;
        enum solids_cause cause;
    } table[] = { { KIND_LEAK, Q_COUNT, SOLIDS_LEAK },
                  { KIND_TOPOFF_OVER, Q_COUNT, SOLIDS_TOPOFF_OVER },
                  { KIND_TOPOFF_STOPPED, Q_COUNT, SOLIDS_TOPOFF_STOPPED },
                  { KIND_TOPOFF_MINERALS, Q_COUNT, SOLIDS_TOPOFF_MINERALS },
                  { KIND_WASTE, Q_COUNT, SOLIDS_WASTE },
                  { KIND_DRIFTING, Q_EC, SOLIDS_PROBE_DRIFTS } };
    const struct solids *s = &e->tanks[tank].solids;
    int place = e->site->tanks[tank].place;
    char evidence[ALERT_EVIDENCE_MAX];
    solids_evidence(e, tank, evidence, sizeof evidence);
    for (unsigned i = 0; i < sizeof table / sizeof *table; i++) {
        bool over = cause == SOLIDS_FINE || cause == SOLIDS_WASTE;
        enum tri condition = cause == table[i].cause ? TRI_YES : over ? TRI_NO : TRI_KEEP;
        if (table[i].kind == KIND_LEAK && rules_wet(e, place))
            continue; /* the detector has spoken */
        judge(e, place, table[i].kind, table[i].q, condition, s->slope_day, NAN, evidence, now, fx);
    }
}

/* A climb named once keeps its name until it ends, for the causes look alike while it grows; but waste shows
 * itself by its speed. */
static enum solids_cause settled(const struct engine *e, int place, enum solids_cause cause)
{
    static const enum alert_kind climbs[] = { KIND_TOPOFF_STOPPED, KIND_TOPOFF_MINERALS, KIND_WASTE };
    if (cause < SOLIDS_TOPOFF_STOPPED || cause == SOLIDS_LEAK || cause == SOLIDS_TOPOFF_OVER ||
        cause == SOLIDS_WASTE)
        return cause;
    for (unsigned i = 0; i < sizeof climbs / sizeof *climbs; i++)
        if (alert_is_active(e, place, climbs[i], Q_COUNT))
            return SOLIDS_UNKNOWN;
    return alert_is_active(e, place, KIND_DRIFTING, Q_EC) ? SOLIDS_UNKNOWN : cause;
}

static struct solids_view view_of(const struct engine *e, int tank)
{
    int place = e->site->tanks[tank].place;
    bool level = lives(e, place, Q_LEVEL), ec = lives(e, place, Q_EC);
    return (struct solids_view){ .ec_day = ec ? day_window(e, place, Q_EC) : NULL,
                                 .ec_days = ec ? days_window(e, place, Q_EC) : NULL,
                                 .level_day = level ? day_window(e, place, Q_LEVEL) : NULL,
                                 .level_days = level ? days_window(e, place, Q_LEVEL) : NULL,
                                 .lid = e->site->tanks[tank].lid };
}

static void watch_ph(struct engine *e, int place, struct now now, struct effects *fx)
{
    const struct window *w = lives(e, place, Q_PH) ? days_window(e, place, Q_PH) : NULL;
    char evidence[ALERT_EVIDENCE_MAX];
    if (w == NULL)
        return;
    double day[5];
    for (int i = 0; i < 5; i++)
        day[i] = window_mean_over(w, (utc_t){ now.utc.ms - i * MS_PER_DAY }, MS_PER_DAY);
    double sum = day[0] - day[4];
    bool steady = true;
    for (int i = 0; i < 4; i++)
        steady = steady && (day[i] - day[i + 1]) * sum > 0 && fabs(day[i] - day[i + 1]) > PH_DRIFT_DAY;
    if (isnan(sum))
        return;
    snprintf(evidence, sizeof evidence,
             "the daily mean crept from pH %.2f to %.2f in four days, every day the same way", day[4],
             day[0]);
    enum tri condition = steady && fabs(sum) > PH_DRIFT_SUM ? TRI_YES
                         : fabs(sum) < PH_DRIFT_SUM / 2     ? TRI_NO
                                                            : TRI_KEEP;
    judge(e, place, KIND_DRIFTING, Q_PH, condition, day[0], NAN, evidence, now, fx);
}

void solids_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    int place = e->site->tanks[tank].place;
    if ((now.utc.ms / MS_PER_MIN) % LOOK_EVERY_MIN != tank % LOOK_EVERY_MIN)
        return;
    struct solids_view view = view_of(e, tank);
    if (alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT))
        return;
    if (solids_look(&t->solids, &view, now.utc))
        tell_step(e, tank, now, fx);
    enum solids_cause cause = solids_judge(&t->solids, &view, now.utc);
    judge_causes(e, tank, settled(e, place, cause), now, fx);
    watch_ph(e, place, now, fx);
}

/* --- out of the water: seen with the readings, not on the clock --- */

void air_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    const struct window *ec = lives(e, place, Q_EC) ? day_window(e, place, Q_EC) : NULL;
    const struct window *temp = lives(e, place, Q_TEMP) ? day_window(e, place, Q_TEMP) : NULL;
    char evidence[ALERT_EVIDENCE_MAX];
    double ec_before =
        ec == NULL ? NAN : window_mean_over(ec, (utc_t){ now.utc.ms - 20 * MS_PER_MIN }, 6 * MS_PER_HOUR);
    double ec_now = value_now(e, place, Q_EC), room = value_now(e, e->site->room_place, Q_TEMP);
    double t_now = value_now(e, place, Q_TEMP);
    double t_before =
        temp == NULL ? NAN : window_mean_over(temp, (utc_t){ now.utc.ms - 30 * MS_PER_MIN }, 20 * MS_PER_MIN);
    bool dry = ec_now < DRY_MOST_US_CM && ec_now < DRY_SHARE * ec_before;
    bool air = fabs(t_before - room) > AIR_GAP_C && (t_before - t_now) / (t_before - room) > AIR_JUMP_SHARE;
    bool active = alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT);
    bool wet = ec == NULL ? fabs(t_now - room) > AIR_GAP_C : ec_now > 2 * DRY_MOST_US_CM;
    enum tri condition = dry || (ec == NULL && air) ? TRI_YES : !active || wet ? TRI_NO : TRI_KEEP;
    snprintf(evidence, sizeof evidence, "%.0f µS/cm, before %.0f; %.1f °C, before %.1f, room %.1f", ec_now,
             ec_before, t_now, t_before, room);
    judge(e, place, KIND_OUT_OF_WATER, Q_COUNT, condition, ec == NULL ? t_now : ec_now, NAN, evidence, now,
          fx);
}

/* --- tanks of one water: a bad batch --- */

/* A change that moved the tank away from its water's target. +1 up, -1 down, 0 none. */
static int strayed(const struct engine *e, int tank, utc_t now)
{
    const struct solids_step *step = solids_last_step(&e->tanks[tank].solids);
    const struct water *water = &e->site->waters[e->site->tanks[tank].water];
    double target = water->target[Q_EC];
    if (step == NULL || isnan(target) || now.ms - step->t.ms > BATCH_SPAN_MS)
        return 0;
    double away = fabs(step->after - target) - fabs(step->before - target);
    if (away < 0.015 * target)
        return 0;
    return step->after > step->before ? 1 : -1;
}

static void watch_batch(struct engine *e, int place, int water, struct now now, struct effects *fx)
{
    int up = 0, down = 0;
    char evidence[ALERT_EVIDENCE_MAX];
    struct text out = text_over(evidence, sizeof evidence);
    for (int i = 0; i < e->site->tank_count; i++) {
        int way = e->site->tanks[i].water == water ? strayed(e, i, now.utc) : 0;
        up += way > 0;
        down += way < 0;
        if (way != 0)
            text_printf(&out, "%s%s %+.0f µS/cm", out.len > 0 ? ", " : "", e->site->tanks[i].id,
                        e->tanks[i].last_step_ec);
    }
    int most = up > down ? up : down;
    text_printf(&out, " within a day, away from the target %.0f µS/cm", e->site->waters[water].target[Q_EC]);
    judge(e, place, KIND_BATCH, Q_COUNT, most >= BATCH_LEAST_TANKS ? TRI_YES : TRI_NO, most,
          BATCH_LEAST_TANKS, evidence, now, fx);
}

/* --- the source --- */

static void watch_source(struct engine *e, int place, struct now now, struct effects *fx)
{
    const struct window *w = lives(e, place, Q_EC) ? days_window(e, place, Q_EC) : NULL;
    char evidence[ALERT_EVIDENCE_MAX];
    if (w == NULL)
        return;
    double today = window_mean_over(w, now.utc, 12 * MS_PER_HOUR), best = INFINITY;
    for (int i = 1; i < 20; i++) {
        double day = window_mean_over(w, (utc_t){ now.utc.ms - i * MS_PER_DAY }, MS_PER_DAY);
        if (!isnan(day))
            best = fmin(best, day);
    }
    if (isnan(today) || isinf(best))
        return;
    snprintf(evidence, sizeof evidence, "purified water at %.0f µS/cm, at its best %.0f in the last weeks",
             today, best);
    double limit = fmax(best + SOURCE_RISE_US_CM, SOURCE_TIMES * best);
    enum tri condition = today > limit ? TRI_YES : today < (limit + best) / 2 ? TRI_NO : TRI_KEEP;
    judge(e, place, KIND_SOURCE_WORN, Q_COUNT, condition, today, limit, evidence, now, fx);
}

void waters_watch(struct engine *e, struct now now, struct effects *fx)
{
    if ((now.utc.ms / MS_PER_MIN) % LOOK_EVERY_MIN != 0)
        return;
    for (int p = 0; p < e->site->place_count; p++) {
        const struct place *place = &e->site->places[p];
        if (place->kind == PLACE_SOURCE)
            watch_source(e, p, now, fx);
        for (int w = 0; place->kind == PLACE_WATER && w < e->site->water_count; w++)
            if (strcmp(e->site->waters[w].id, place->id) == 0)
                watch_batch(e, p, w, now, fx);
    }
}
