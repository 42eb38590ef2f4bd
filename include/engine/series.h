/* What windows hold as plain rows of numbers, the newest last, and what rows tell: noise, blocks, creeps,
 * slopes. NaN stands where nothing came. For the files of this layer. */
#ifndef LENTIC_ENGINE_SERIES_H
#define LENTIC_ENGINE_SERIES_H

#include "engine/solids.h"

#define SERIES_HOURS 504 /* three weeks */

/* Means of the n bins that end with the one before now's: the running bin is left out. */
void series_take(const struct window *w, utc_t now, double *out, int n);

/* Median of what is there; NaN when that is less than `least`. */
double series_median(const double *x, int n, int least);

/* One standard deviation of a single value, from neighbours' distances; NaN when fewer than 8. */
double series_noise(const double *x, int n);

/* Medians of blocks of `width`, the last block at the row's end; returns their number. A block needs half of
 * its values. */
int series_blocks(const double *x, int n, int width, double *out);

/* How far the row has crept up over the least of the last `reach` values, where `allowed` a value is no
 * creep. hours: of one value. */
struct creep series_creep(const double *x, int n, int reach, double allowed, double hours);

struct slope {
    double per, sd; /* a value; NaN: fewer than `least`, or all at one time */
    int n;
};

/* Theil-Sen over at most SERIES_SLOPE_MAX values; the uncertainty from the residuals, doubled because
 * neighbours err alike. */
#define SERIES_SLOPE_MAX 150
struct slope series_slope(const double *x, int n, int least);

/* Of a row's quarters each lies lower than the one before, by a fair share of the whole fall, which is over
 * three quarters of `least`. */
bool series_falls_along(const double *x, int n, double least);

/* How often the row rose by `least` or more and fell by as much again. */
int series_teeth(const double *x, int n, double least);

/* A straight line explains the row clearly better than any one step: twice the difference of the logarithmic
 * likelihoods, for normally distributed noise, is above 4. NaN are stepped over; false when fewer than 6. */
bool series_slopes(const double *x, int n);

#endif
