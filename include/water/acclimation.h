/* A drip schedule: the tank's water dripped into the animals' own, in stages, so that no limit of change per
 * hour is exceeded.
 *
 * In a stage water drips at a steady rate q into v litres: c' = (ct - c) q / volume is fastest at its
 * beginning, so q = limit * v / |ct - c|. When the vessel is full, all above the first volume is discarded
 * and the next stage runs faster, because less is left to go. pH is taken as going the same way, which holds
 * when both waters have some carbonate hardness. Exact mass balance. */
#ifndef LENTIC_WATER_ACCLIMATION_H
#define LENTIC_WATER_ACCLIMATION_H

#include "base/status.h"

enum acclimation_axis { ACCLIMATION_TEMP, ACCLIMATION_EC, ACCLIMATION_PH, ACCLIMATION_AXES };

#define ACCLIMATION_STAGES_MAX 16

struct acclimation {
    double volume_l;   /* the animals' water */
    double capacity_l; /* of the vessel, at least 1.1 of volume_l */
    double rate_most_l_h;
    double left; /* share of the difference that may stay, 0.01..0.5 */
    double from[ACCLIMATION_AXES], to[ACCLIMATION_AXES]; /* NaN in either: not considered */
    double per_hour[ACCLIMATION_AXES];                   /* NaN: no limit */
};

struct acclimation_stage {
    double rate_l_h, added_l, discard_l, hours;
    double reached[ACCLIMATION_AXES]; /* at its end; NaN when not considered */
};

struct acclimation_plan {
    struct acclimation_stage stages[ACCLIMATION_STAGES_MAX];
    int count;
    double hours, litres;          /* altogether, and water needed */
    enum acclimation_axis governs; /* which limit sets the pace; ACCLIMATION_AXES: the fastest drip does */
};

/* STATUS_REFUSED: more than ACCLIMATION_STAGES_MAX stages (vessel too small). STATUS_INVALID: no sense. */
enum status acclimation_eval(const struct acclimation *a, struct acclimation_plan *plan,
                             struct why *why) LENTIC_CHECKED;

#endif
