/* Calibration of one stream, dated. value = f(raw). */
#ifndef LENTIC_MODEL_CALIB_H
#define LENTIC_MODEL_CALIB_H

#include "base/times.h"

enum calib_kind {
    CALIB_LINEAR,    /* value = gain * raw + offset, in the stored unit */
    CALIB_ELECTRODE, /* raw is mV: pH by slope and offset with the water's temperature */
};

struct calib {
    enum calib_kind kind;
    double gain, offset;       /* linear */
    double offset_mv;          /* electrode, at pH 7 */
    double slope_fraction[2];  /* of the Nernst slope: acid side, base side (1.0 = ideal) */
    utc_t since;               /* UTC_NONE: as configured */
};

#define CALIB_IDENTITY ((struct calib){ CALIB_LINEAR, 1.0, 0.0, 0.0, { 1.0, 1.0 }, UTC_NONE })

/* temp_c is used by electrodes only. NaN when it is needed and not known. */
double calib_apply(const struct calib *c, double raw, double temp_c);

#endif
