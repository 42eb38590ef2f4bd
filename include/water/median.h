/* The median, by selection. */
#ifndef LENTIC_WATER_MEDIAN_H
#define LENTIC_WATER_MEDIAN_H

#include <stddef.h>

/* Median of n >= 1 finite numbers; of an even count the mean of the middle two. Reorders x. */
double median_of(double *x, size_t n);

#endif
