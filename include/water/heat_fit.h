/* The time constant of a tank, learnt from a stretch without heating; the law is that of water/heat.h. */
#ifndef LENTIC_WATER_HEAT_FIT_H
#define LENTIC_WATER_HEAT_FIT_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"

struct heat_sample {
    double hours, temp_c, room_c;
};

struct heat_fit {
    double tau_h;
    double tau_sd_h;   /* one standard deviation, with at least 0.03 degrees of noise assumed */
    double residual_c; /* typical distance of the points that count */
    double used;       /* share of the points that agree, 0..1 */
    bool reliable;     /* at least 6 points, 60 % agree, within 0.3 degrees, sd at most 10 % */
};

#define HEAT_FIT_MAX        1000
#define HEAT_FIT_SCRATCH(n) ((n) < 3 ? (size_t)3 : (size_t)(n) * ((size_t)(n)-1) / 2)

/* Time constant from a stretch without heating. The room may vary (taken as straight between samples).
 * Outliers, late ones in a row included (a heater that comes on), do no harm up to some 40 % of the points:
 * start by the median of all pairs over several lengths, then bisquare weights (Huber & Ronchetti, Robust
 * Statistics). STATUS_REFUSED: fewer than 4 points, no difference to the room worth the name, not an approach
 * to the room, or a deviation above half of tau. STATUS_INVALID: out of range, times not rising, or more than
 * HEAT_FIT_MAX. */
enum status heat_fit_tau(const struct heat_sample *s, size_t n, double *scratch, struct heat_fit *out,
                         struct why *why) LENTIC_CHECKED;

#endif
