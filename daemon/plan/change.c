#include "plan/change.h"
#include "water/mixing.h"

#include <math.h>

/* pH and temperature do not mix by volume alone, the rest is not in the water. */
static bool is_conserved(enum quantity q)
{
    static const enum quantity conserved[] = {
        Q_EC, Q_TDS, Q_GH, Q_KH, Q_NO2, Q_NO3, Q_TAN, Q_PO4, Q_CA, Q_MG
    };
    for (size_t i = 0; i < sizeof conserved / sizeof *conserved; i++)
        if (conserved[i] == q)
            return true;
    return false;
}

/* The first change makes the largest step. */
static double fraction_by_step(double limit, const struct change_ask *ask)
{
    double gap = fabs(ask->with - ask->now);
    return isnan(limit) || gap == 0.0 ? 1.0 : fmin(limit / gap, 1.0);
}

enum status change_eval(const struct site *site, const struct change_ask *ask, struct change_plan *out,
                        struct why *why)
{
    if (ask->tank < 0 || ask->tank >= site->tank_count)
        return why_say(why, STATUS_INVALID, "there is no such tank");
    if (!is_conserved(ask->quantity))
        return why_say(why, STATUS_INVALID, "%s does not mix by volume; ask for ec, gh or kh",
                       quantity_info(ask->quantity)->title);
    const struct tank *tank = &site->tanks[ask->tank];
    struct change_plan plan = { .step_limit = tank->step[ask->quantity] };
    double by_step = fraction_by_step(plan.step_limit, ask), count, fraction;
    plan.held_by_step = by_step < ask->most;
    enum status st =
        mixing_changes(ask->now, ask->wanted, ask->with, fmin(by_step, ask->most), &count, &fraction, why);
    if (st != STATUS_OK)
        return st;
    if (count > CHANGE_STEPS_MAX)
        return why_say(
            why, STATUS_REFUSED,
            "it would take %.0f changes: choose change water nearer to the tank, or a target short of it",
            count);
    plan.count = (int)count;
    plan.fraction = fraction;
    plan.litres = fraction * tank->volume_l;
    plan.largest_step = fabs(ask->with - ask->now) * fraction;
    for (int i = 0; st == STATUS_OK && i < plan.count; i++)
        st = mixing_repeat(ask->now, ask->with, fraction, i + 1, &plan.after[i], why);
    if (st == STATUS_OK)
        *out = plan;
    return st;
}
