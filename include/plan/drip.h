/* How to bring animals from their own water into a tank: a drip schedule within their limits of change, or
 * the advice not to drip.
 *
 * A bag in which ammonia has gathered at low pH must not be dripped up slowly: as the pH rises the harmless
 * ammonium turns into ammonia. Threshold 0.02 mg/L un-ionised (as nitrogen): US EPA 2013 criteria and Emerson
 * et al. 1975 put lasting harm to sensitive invertebrates near 0.02 to 0.05. */
#ifndef LENTIC_PLAN_DRIP_H
#define LENTIC_PLAN_DRIP_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"
#include "water/acclimation.h"

#define DRIP_NH3_LIMIT_MG_L 0.02

struct drip_ask {
    int tank;
    double litres;                     /* the animals' water */
    double vessel_l;                   /* NaN: twice the litres */
    double fastest_l_h;                /* NaN: 1 L/h, some 5 drops a second */
    double bag[ACCLIMATION_AXES];      /* NaN: not known */
    double bag_tan_mg_l;               /* NaN: not measured */
    double tank_now[ACCLIMATION_AXES]; /* NaN: the target of the tank's water */
};

struct drip_plan {
    struct acclimation_plan schedule;
    double to[ACCLIMATION_AXES]; /* what was taken as the tank's values */
    double per_hour[ACCLIMATION_AXES];
    double nh3_bag_mg_l,
        nh3_risen_mg_l; /* un-ionised now, and at the tank's pH and temperature; NaN: not known */
    bool do_not_drip;
};

/* STATUS_REFUSED and STATUS_INVALID as acclimation_eval; also when neither side of any value is known. */
enum status drip_eval(const struct site *site, const struct drip_ask *ask, struct drip_plan *out,
                      struct why *why) LENTIC_CHECKED;

#endif
