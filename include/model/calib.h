/* Calibration of one stream, dated. value = f(raw). */
#ifndef LENTIC_MODEL_CALIB_H
#define LENTIC_MODEL_CALIB_H

#include <math.h>
#include "base/times.h"

enum calib_kind {
    CALIB_LINEAR,    /* value = gain * raw + offset, in the stored unit */
    CALIB_ELECTRODE, /* raw is mV: pH by slope and offset with the water's temperature */
};

struct calib {
    enum calib_kind kind;
    double gain, offset;      /* linear */
    double offset_mv;         /* electrode, at pH 7 */
    double slope_fraction[2]; /* of the Nernst slope: acid side, base side (1.0 = ideal) */
    utc_t since;              /* UTC_NONE: as configured */
    double pivot_ph;          /* electrode: where the two sides meet, the middle of three buffers; else 7 */
    double residual;          /* root mean square of the points from the line, in the raw unit; NaN: exact */
};

#define CALIB_IDENTITY                                                                                       \
    ((struct calib){ .kind = CALIB_LINEAR,                                                                   \
                     .gain = 1.0,                                                                            \
                     .slope_fraction = { 1.0, 1.0 },                                                         \
                     .since = UTC_NONE,                                                                      \
                     .pivot_ph = 7.0,                                                                        \
                     .residual = (double)NAN })

/* temp_c is used by electrodes only. NaN when it is needed and not known. */
double calib_apply(const struct calib *c, double raw, double temp_c);

#endif
