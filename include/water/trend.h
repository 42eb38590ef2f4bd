/* The trend of a stretch of readings, deaf to outliers.
 *
 * Theil (1950), Sen (1968): the slope is the median of the slopes of all pairs with different times, of an
 * even count the mean of the middle two; the intercept is the median of v - slope * t. To 1e-9 of that
 * definition. Up to 29 % of the points may be wrong. Cut the stretch at water changes and batches before. */
#ifndef LENTIC_WATER_TREND_H
#define LENTIC_WATER_TREND_H

#include <stddef.h>
#include "base/status.h"

#define TREND_POINTS_MAX 2000 /* every pair is looked at: 2 million slopes at the most */

/* Doubles of scratch that n points need. */
#define TREND_SCRATCH(n) ((n) < 3 ? (size_t)3 : (size_t)(n) * ((size_t)(n)-1) / 2)

struct trend {
    double slope; /* of v per unit of t */
    double intercept;
};

/* STATUS_REFUSED: fewer than two points, or all at one time. STATUS_INVALID: more than TREND_POINTS_MAX, or a
 * number that is not finite. scratch: TREND_SCRATCH(n) doubles, overwritten. */
enum status trend_fit(const double *t, const double *v, size_t n, double *scratch, struct trend *out,
                      struct why *why) LENTIC_CHECKED;

#endif
