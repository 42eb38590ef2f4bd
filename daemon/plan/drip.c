#include "plan/drip.h"
#include "water/ammonia.h"

#include <math.h>

#define FASTEST_L_H 1.0
#define LEFT        0.05

static const enum quantity axis_quantity[ACCLIMATION_AXES] = {
    [ACCLIMATION_TEMP] = Q_TEMP,
    [ACCLIMATION_EC] = Q_EC,
    [ACCLIMATION_PH] = Q_PH,
};

static double tank_value(const struct site *site, const struct tank *tank, const struct drip_ask *ask,
                         int axis)
{
    if (!isnan(ask->tank_now[axis]) || tank->water < 0)
        return ask->tank_now[axis];
    return site->waters[tank->water].target[axis_quantity[axis]];
}

static double un_ionised(double tan_mg_l, double ph, double temp_c)
{
    double fraction;
    if (isnan(tan_mg_l) || ammonia_fraction(ph, temp_c, &fraction, NULL) != STATUS_OK)
        return (double)NAN;
    return tan_mg_l * fraction;
}

/* The danger is the rise: at the tank's pH while most of the bag's ammonia is still there. */
static void judge_ammonia(const struct drip_ask *ask, struct drip_plan *plan)
{
    double bag_ph = ask->bag[ACCLIMATION_PH], bag_temp = ask->bag[ACCLIMATION_TEMP];
    double to_temp = isnan(plan->to[ACCLIMATION_TEMP]) ? bag_temp : plan->to[ACCLIMATION_TEMP];
    plan->nh3_bag_mg_l = un_ionised(ask->bag_tan_mg_l, bag_ph, bag_temp);
    plan->nh3_risen_mg_l = un_ionised(ask->bag_tan_mg_l, plan->to[ACCLIMATION_PH], to_temp);
    bool may_rise = isnan(bag_ph) || plan->to[ACCLIMATION_PH] > bag_ph;
    plan->do_not_drip = may_rise && plan->nh3_risen_mg_l > DRIP_NH3_LIMIT_MG_L;
}

enum status drip_eval(const struct site *site, const struct drip_ask *ask, struct drip_plan *out,
                      struct why *why)
{
    if (ask->tank < 0 || ask->tank >= site->tank_count)
        return why_say(why, STATUS_INVALID, "there is no such tank");
    const struct tank *tank = &site->tanks[ask->tank];
    struct drip_plan plan = { .do_not_drip = false };
    struct acclimation a = { .volume_l = ask->litres, .left = LEFT };
    a.capacity_l = isnan(ask->vessel_l) ? 2.0 * ask->litres : ask->vessel_l;
    a.rate_most_l_h = isnan(ask->fastest_l_h) ? FASTEST_L_H : ask->fastest_l_h;
    int known = 0;
    for (int i = 0; i < ACCLIMATION_AXES; i++) {
        a.from[i] = ask->bag[i];
        a.to[i] = plan.to[i] = tank_value(site, tank, ask, i);
        a.per_hour[i] = plan.per_hour[i] = tank->per_hour[axis_quantity[i]];
        known += !isnan(a.from[i]) && !isnan(a.to[i]);
    }
    if (known == 0)
        return why_say(why, STATUS_REFUSED,
                       "nothing to compare: give temperature, EC or pH of the bag and of the tank");
    enum status st = acclimation_eval(&a, &plan.schedule, why);
    if (st != STATUS_OK)
        return st;
    judge_ammonia(ask, &plan);
    *out = plan;
    return STATUS_OK;
}
