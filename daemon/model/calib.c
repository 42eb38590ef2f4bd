#include "model/calib.h"

#include <math.h>

#include "water/electrode.h"

static double ph_of_millivolts(const struct calib *c, double mv, double temp_c)
{
    const struct electrode e = { .offset_mv = c->offset_mv,
                                 .pivot_ph = c->pivot_ph,
                                 .slope_fraction = { c->slope_fraction[0], c->slope_fraction[1] } };
    double ph;
    return electrode_ph(&e, mv, temp_c, &ph, NULL) == STATUS_OK ? ph : NAN;
}

double calib_apply(const struct calib *c, double raw, double temp_c)
{
    double value = c->kind == CALIB_ELECTRODE ? ph_of_millivolts(c, raw, temp_c) : c->gain * raw + c->offset;
    return isfinite(value) ? value : NAN;
}
