#include "water/acclimation.h"
#include "water/range.h"

#include <math.h>
#include <stdbool.h>

static enum status check(const struct acclimation *a, struct why *why)
{
    enum status st = range_check(why, "volume", a->volume_l, 0.01, 1000.0, "L");
    if (st == STATUS_OK)
        st = range_check(why, "vessel", a->capacity_l, 1.1 * a->volume_l, 10000.0, "L");
    if (st == STATUS_OK)
        st = range_check(why, "fastest drip", a->rate_most_l_h, 0.001, 1000.0, "L/h");
    if (st == STATUS_OK)
        st = range_check(why, "difference left", a->left, 0.01, 0.5, "");
    for (int i = 0; st == STATUS_OK && i < ACCLIMATION_AXES; i++)
        if (!isnan(a->per_hour[i]) && !(a->per_hour[i] > 0.0))
            st = why_say(why, STATUS_INVALID, "a limit of change must be more than 0 per hour");
    return st;
}

static double difference(const struct acclimation *a, int axis)
{
    return isnan(a->from[axis]) || isnan(a->to[axis]) ? 0.0 : a->to[axis] - a->from[axis];
}

/* Fastest drip that no limit forbids when that share of the difference is left. */
static double rate_allowed(const struct acclimation *a, double share, enum acclimation_axis *governs)
{
    double rate = a->rate_most_l_h;
    *governs = ACCLIMATION_AXES;
    for (int i = 0; i < ACCLIMATION_AXES; i++) {
        double gap = fabs(difference(a, i)) * share;
        if (isnan(a->per_hour[i]) || gap == 0.0)
            continue;
        double allowed = a->per_hour[i] * a->volume_l / gap;
        if (allowed < rate) {
            rate = allowed;
            *governs = (enum acclimation_axis)i;
        }
    }
    return rate;
}

static bool is_equal_already(const struct acclimation *a)
{
    for (int i = 0; i < ACCLIMATION_AXES; i++)
        if (difference(a, i) != 0.0)
            return false;
    return true;
}

/* The last stage stops when enough is done; the others fill the vessel. */
static double stage_end_l(const struct acclimation *a, double share)
{
    return fmin(a->capacity_l, a->volume_l * share / a->left);
}

enum status acclimation_eval(const struct acclimation *a, struct acclimation_plan *plan, struct why *why)
{
    enum status st = check(a, why);
    if (st != STATUS_OK)
        return st;
    struct acclimation_plan p = { .count = 0, .governs = ACCLIMATION_AXES };
    double share = is_equal_already(a) ? 0.0 : 1.0;
    while (share > a->left * (1.0 + 1e-9)) {
        if (p.count == ACCLIMATION_STAGES_MAX)
            return why_say(
                why, STATUS_REFUSED,
                "more than %d stages in a vessel of %.3g L for %.3g L of water: take a larger vessel, best "
                "twice the water",
                ACCLIMATION_STAGES_MAX, a->capacity_l, a->volume_l);
        enum acclimation_axis governs;
        struct acclimation_stage *s = &p.stages[p.count];
        double end_l = stage_end_l(a, share);
        s->rate_l_h = rate_allowed(a, share, &governs);
        s->added_l = end_l - a->volume_l;
        s->hours = s->added_l / s->rate_l_h;
        share *= a->volume_l / end_l;
        s->discard_l = share > a->left * (1.0 + 1e-9) ? s->added_l : 0.0;
        for (int i = 0; i < ACCLIMATION_AXES; i++)
            s->reached[i] = a->to[i] - (a->to[i] - a->from[i]) * share;
        if (p.count++ == 0)
            p.governs = governs;
        p.hours += s->hours;
        p.litres += s->added_l;
    }
    *plan = p;
    return STATUS_OK;
}
