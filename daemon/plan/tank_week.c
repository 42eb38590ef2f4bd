#include "plan/tank_week.h"

#include <math.h>
#include <string.h>

#include "plan/tank_facts.h"

#define NEAR_SHARE     0.5   /* of the way from the new water to the limit: well inside, not at the edge */
#define SHARE_LEAST    0.005 /* of a tank: less is not worth a bucket */
#define LATER_DAYS_MAX 90    /* a correction that takes longer is told as such */
#define TEMP_ROUND_C   0.5
#define EPS            1e-9

/* The tank as it goes through the days. */
struct course {
    const struct site *site;
    const struct tank *tank;
    struct week_tank *w;
    double c[WEEK_AXES];
    bool correcting[WEEK_AXES];
    double owed;    /* share by the calendar that was not changed yet */
    utc_t due;      /* next change by the calendar; UTC_NONE */
    utc_t earliest; /* of the next stage */
};

static utc_t days_after(utc_t t, double days)
{
    return (utc_t){ t.ms + (int64_t)(days * (double)MS_PER_DAY) };
}

/* --- what asks for a change --- */

static double passed(const struct week_tank *w, int axis, double value)
{
    struct span limit = w->limit[axis];
    if (value > limit.hi + EPS)
        return limit.hi;
    return value < limit.lo - EPS ? limit.lo : NAN;
}

/* Only what somebody measured, or reckoned from what was measured, is a reason to act. */
static bool is_ground(const struct week_tank *w, int axis)
{
    return w->now[axis].origin == WEEK_PROBE || w->now[axis].origin == WEEK_HAND;
}

/* New water that is itself beyond the limit mends nothing. */
static bool can_mend(const struct week_tank *w, int axis)
{
    double fresh = w->fresh[axis].value;
    return !isnan(fresh) && !(fresh >= w->limit[axis].hi) && !(fresh <= w->limit[axis].lo && fresh > 0);
}

/* Where a correction may stop. */
static double stop_at(const struct week_tank *w, int axis, double value)
{
    double fresh = w->fresh[axis].value;
    double hi = fresh + NEAR_SHARE * (w->limit[axis].hi - fresh);
    double lo = fresh + NEAR_SHARE * (w->limit[axis].lo - fresh);
    return value > hi ? hi : value < lo ? lo : value;
}

static double share_to(double now, double wanted, double fresh)
{
    return fabs(wanted - now) <= EPS ? 0 : (wanted - now) / (fresh - now);
}

struct need {
    double share;
    enum week_reason reason;
    enum week_axis axis;
    double limit;
    unsigned grounds; /* bits of the axes that newly ask */
    utc_t at;
};

static void take_need(struct need *need, const struct need *other)
{
    unsigned grounds = need->grounds | other->grounds;
    if (other->share >= need->share)
        *need = *other;
    need->grounds = grounds;
}

static void judge_axis(struct course *k, int axis, bool may_begin, struct need *need)
{
    struct week_tank *w = k->w;
    double fresh = w->fresh[axis].value, now = k->c[axis];
    double limit = passed(w, axis, now), ahead = passed(w, axis, now + w->per_day[axis]);
    struct need n = { .axis = (enum week_axis)axis, .at = need->at };
    if (isnan(now) || !can_mend(w, axis))
        return;
    n.reason = axis == WEEK_NO3 ? WEEK_NITRATE : !isnan(limit) ? WEEK_OFF_TARGET : WEEK_TREND;
    n.limit = isnan(limit) ? ahead : limit;
    if (k->correcting[axis])
        n.reason = WEEK_CONTINUED;
    else if (!may_begin || isnan(n.limit))
        return;
    n.share = share_to(now, stop_at(w, axis, now), fresh);
    if (n.reason == WEEK_TREND) /* what it will be tonight is what has to come down */
        n.share = share_to(now + w->per_day[axis], stop_at(w, axis, now + w->per_day[axis]), fresh);
    k->correcting[axis] = n.share >= SHARE_LEAST;
    n.grounds = n.reason == WEEK_CONTINUED || !k->correcting[axis] ? 0 : 1u << axis;
    take_need(need, &n);
}

static void judge_calendar(struct course *k, utc_t t, bool may_begin, struct need *need)
{
    struct need n = { .share = k->owed, .reason = WEEK_CONTINUED, .axis = WEEK_EC, .limit = NAN, .at = t };
    if (may_begin && utc_is_set(k->due) && k->due.ms < t.ms + MS_PER_DAY) {
        n.reason = WEEK_CALENDAR;
        n.share = k->owed = k->w->litres_each / k->tank->volume_l;
        n.at.ms = k->due.ms > t.ms ? k->due.ms : t.ms;
        k->due = days_after(n.at, k->w->every_d);
    }
    if (n.share > 0)
        take_need(need, &n);
}

static struct need judge(struct course *k, utc_t t, bool may_begin)
{
    struct need need = { .share = 0, .limit = NAN, .at = t };
    for (int axis = 0; axis < WEEK_TEMP; axis++)
        if (is_ground(k->w, axis))
            judge_axis(k, axis, may_begin, &need);
    judge_calendar(k, t, may_begin, &need);
    return need;
}

/* --- one stage --- */

static void bound_stage(const struct course *k, struct week_stage *s)
{
    const struct week_tank *w = k->w;
    s->share = s->wanted;
    s->bound = WEEK_BY_NEED;
    if (s->share > w->most_share) {
        s->share = w->most_share;
        s->bound = WEEK_BY_SHARE;
    }
    for (int axis = 0; axis < WEEK_TEMP; axis++) {
        double most = w->step[axis] / fabs(w->fresh[axis].value - k->c[axis]);
        if (most < s->share) {
            s->share = most;
            s->bound = WEEK_BY_STEP;
            s->bound_axis = (enum week_axis)axis;
        }
    }
}

/* As it stands, or as near to the tank as the step asks for. */
static void set_temperature(const struct week_tank *w, struct week_stage *s)
{
    double tank_c = s->before[WEEK_TEMP], fresh_c = w->fresh[WEEK_TEMP].value;
    s->fresh_c = isnan(fresh_c) ? tank_c : fresh_c;
    double most = w->step[WEEK_TEMP] / s->share, gap = s->fresh_c - tank_c;
    if (fabs(gap) > most) {
        double kept = TEMP_ROUND_C * floor(most / TEMP_ROUND_C);
        s->fresh_c = tank_c + copysign(kept, gap);
        s->brought = true;
    }
}

static void mix_in(struct course *k, struct week_stage *s)
{
    memcpy(s->before, k->c, sizeof s->before);
    set_temperature(k->w, s);
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        double fresh = axis == WEEK_TEMP ? s->fresh_c : k->w->fresh[axis].value;
        s->after[axis] = s->before[axis] + s->share * (fresh - s->before[axis]);
        /* The heater brings the temperature back before the next one. */
        if (axis != WEEK_TEMP && !isnan(s->after[axis]))
            k->c[axis] = s->after[axis];
    }
    s->litres = s->share * k->tank->volume_l;
    /* Whatever it was for, as much water as by the calendar is its change. */
    if (utc_is_set(k->due) && s->litres >= k->w->litres_each - EPS)
        k->due = days_after(s->at, k->w->every_d);
    k->owed = fmax(k->owed - s->share, 0);
    if (k->owed < SHARE_LEAST)
        k->owed = 0;
}

static bool goes_on(const struct course *k)
{
    bool any = k->owed > 0;
    for (int axis = 0; axis < WEEK_TEMP; axis++)
        any = any || k->correcting[axis];
    return any;
}

static void end_corrections(struct course *k)
{
    for (int axis = 0; axis < WEEK_TEMP; axis++) {
        double now = k->c[axis];
        k->correcting[axis] = k->correcting[axis] &&
                              share_to(now, stop_at(k->w, axis, now), k->w->fresh[axis].value) >= SHARE_LEAST;
    }
}

static void go_through_day(struct course *k, utc_t t, bool may_begin)
{
    struct week_tank *w = k->w;
    if (utc_is_set(k->earliest) && t.ms + MS_PER_DAY <= k->earliest.ms)
        return;
    struct need need = judge(k, t, may_begin);
    struct week_stage s = { .at = need.at,
                            .reason = need.reason,
                            .axis = need.axis,
                            .limit = need.limit,
                            .also = need.reason == WEEK_CALENDAR || need.reason == WEEK_CONTINUED
                                        ? need.grounds
                                        : need.grounds & ~(1u << need.axis),
                            .wanted = need.share,
                            .fresh_c = NAN };
    if (utc_is_set(k->earliest) && s.at.ms < k->earliest.ms)
        s.at = k->earliest;
    if (need.share < SHARE_LEAST)
        return;
    bound_stage(k, &s);
    mix_in(k, &s);
    end_corrections(k);
    k->earliest = days_after(s.at, k->site->plan.stage_d);
    if (may_begin && w->stage_count < WEEK_STAGES_MAX)
        w->stages[w->stage_count++] = s;
    else
        w->later++;
}

static void go_through_days(struct course *k)
{
    for (int day = 0; day < LATER_DAYS_MAX; day++) {
        bool may_begin = day < (int)k->w->days;
        if (!may_begin && !goes_on(k))
            return;
        go_through_day(k, (utc_t){ k->w->from.ms + day * MS_PER_DAY }, may_begin);
        for (int axis = 0; axis < WEEK_TEMP; axis++) /* what is not known stays so */
            k->c[axis] = isnan(k->c[axis]) ? k->c[axis] : fmax(k->c[axis] + k->w->per_day[axis], 0);
    }
    if (goes_on(k))
        week_remark(
            k->w->remarks, &k->w->remark_count, WEEK_CAUTION,
            "the correction does not come to an end in %d days: what moves the water is stronger than "
            "these changes; look for the cause",
            LATER_DAYS_MAX);
}

static void begin(struct course *k)
{
    struct week_tank *w = k->w;
    bool known = utc_is_set(w->last_change);
    if (known)
        k->earliest = days_after(w->last_change, k->site->plan.stage_d);
    if (w->litres_each > 0)
        k->due = known ? days_after(w->last_change, w->every_d) : w->from;
}

/* A value beyond its limit that this water does not bring back. */
static void tell_out_of_reach(struct week_tank *w)
{
    for (int axis = 0; axis < WEEK_TEMP; axis++) {
        const struct quantity_info *q = quantity_info(week_quantity((enum week_axis)axis));
        double now = w->now[axis].value, limit = passed(w, axis, now);
        if (is_ground(w, axis) && !isnan(limit) && !isnan(w->fresh[axis].value) && !can_mend(w, axis))
            week_remark(w->remarks, &w->remark_count, WEEK_CAUTION,
                        "%s is %.*f %s, beyond %.*f: changes with this water (%.*f) do not mend that",
                        q->title, q->decimals, now, q->unit, q->decimals, limit, q->decimals,
                        w->fresh[axis].value);
    }
}

void tank_week_eval(const struct site *site, const struct tank_report *report, const struct diary *diary,
                    double room_c, int days, struct week_tank *out)
{
    struct course k = {
        .site = site, .tank = &site->tanks[report->tank], .w = out, .due = UTC_NONE, .earliest = UTC_NONE
    };
    tank_facts(site, report, diary, room_c, days < TANK_WEEK_DAYS_MAX ? days : TANK_WEEK_DAYS_MAX, out);
    for (int axis = 0; axis < WEEK_AXES; axis++)
        k.c[axis] = out->now[axis].value;
    begin(&k);
    tell_out_of_reach(out);
    go_through_days(&k);
}
