/* Pure water that makes good what evaporated: judged by what stayed behind. */
#ifndef LENTIC_PLAN_TOPOFF_H
#define LENTIC_PLAN_TOPOFF_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

struct topoff_ask {
    int tank;
    double was, now;   /* EC, or any other conserved value, when full and at present */
    double litres_now; /* in the tank at present; NaN: judged from the full volume */
};

struct topoff_plan {
    double litres;
    double share; /* of the full volume */
    bool large;   /* more than a tenth: in several portions, and look for another cause (salts, food, a leak
                     made good) */
};

/* STATUS_REFUSED: now is below was. */
enum status topoff_eval(const struct site *site, const struct topoff_ask *ask, struct topoff_plan *out,
                        struct why *why) LENTIC_CHECKED;

#endif
