#include "rehearse/sensor.h"

#include <math.h>

#include "water/conductivity.h"
#include "water/electrode.h"

#define ALMOST_DRY_US_CM 2.0

static double step_of(enum quantity q)
{
    switch (q) {
    case Q_TEMP:
        return 0.0625; /* the usual 12 bits of one-wire thermometers */
    case Q_LEVEL:
        return 0.5;
    default:
        return pow(10, -quantity_info(q)->decimals);
    }
}

static double offset_sd(enum quantity q)
{
    switch (q) {
    case Q_TEMP:
        return 0.12;
    case Q_PH:
        return 0.04;
    case Q_ORP:
        return 5;
    default:
        return 0;
    }
}

static bool is_exact(enum quantity q)
{
    return q == Q_LEAK;
}

static bool has_gain_error(enum quantity q)
{
    return q == Q_EC || q == Q_TDS || q == Q_DO;
}

struct sensor sensor_init(const struct probe_value *value, struct dice *dice)
{
    enum quantity q = value->quantity;
    double usual_sd = is_exact(q) ? 0 : quantity_info(q)->reading_sd;
    return (struct sensor){
        .value = value,
        .offset = dice_normal(dice, 0, offset_sd(q)),
        .gain = has_gain_error(q) ? dice_normal(dice, 1, 0.01) : 1,
        .gain_per_day = has_gain_error(q) ? dice_normal(dice, 0, 0.0003) : 0,
        .noise_sd = usual_sd * dice_between(dice, 0.3, 0.8),
        .step = step_of(q),
        .last = NAN,
    };
}

static double factor_to_25(const struct probe_value *value, double temp_c)
{
    double factor = 1;
    struct why why;
    enum status st = isnan(value->alpha)
                         ? conductivity_factor_natural(fmin(fmax(temp_c, 0), 36), &factor, &why)
                         : conductivity_factor_linear(fmin(fmax(temp_c, 0), 50), value->alpha, &factor, &why);
    return st == STATUS_OK ? factor : 1;
}

/* Millivolts of an electrode as the configuration describes it. */
static double electrode_millivolts(const struct calib *c, double ph, double temp_c)
{
    struct electrode e = ELECTRODE_IDEAL;
    double mv = 0;
    if (c->kind == CALIB_ELECTRODE)
        e = (struct electrode){ c->offset_mv, c->pivot_ph, { c->slope_fraction[0], c->slope_fraction[1] } };
    return electrode_mv(&e, ph, fmin(fmax(temp_c, 0), 60), &mv, NULL) == STATUS_OK ? mv : 0;
}

double sensor_unread(const struct probe_value *value, double stored, double temp_c)
{
    double v = stored;
    if (value->millivolts)
        return electrode_millivolts(&value->calib, v, temp_c);
    if (value->quantity == Q_EC && !value->compensated)
        v /= factor_to_25(value, temp_c);
    if (value->calib.kind == CALIB_LINEAR && value->calib.gain != 0)
        v = (v - value->calib.offset) / value->calib.gain;
    return unit_from_stored(value->unit, v);
}

static double in_steps(double v, double step)
{
    return round(v / step) * step;
}

double sensor_read(struct sensor *s, const struct sensor_input *in, struct dice *dice)
{
    /* Rolled in any case, so that a fault leaves the rest of the probe's fate alone. */
    double noise = dice_normal(dice, 0, 1);
    if (isnan(in->truth))
        return NAN;
    double gain = s->gain * (1 + s->gain_per_day * in->days) * in->drift_gain;
    double v = in->truth * gain + s->offset + in->drift_offset;
    bool dry = s->value->quantity == Q_EC && in->truth < ALMOST_DRY_US_CM;
    if (!dry || in->noise_gain > 1)
        v += noise * s->noise_sd * in->noise_gain;
    if (s->value->quantity == Q_LEAK)
        v = in->truth;
    if (in->stuck && !isnan(s->last))
        v = s->last;
    else
        v = in_steps(v, s->step);
    const struct quantity_info *info = quantity_info(s->value->quantity);
    v = fmin(fmax(v, info->hard_lo), info->hard_hi);
    s->last = v;
    return sensor_unread(s->value, v, in->temp_c);
}

int sensor_decimals(const struct sensor *s)
{
    if (s->value->millivolts)
        return 1;
    double step = s->step / fabs(s->value->unit.gain != 0 ? s->value->unit.gain : 1);
    /* 0.0625 needs four, 1 none, 0.001 three: one digit more where the step is not a power of ten. */
    int decimals = 0;
    while (decimals < 6 && fabs(step * pow(10, decimals) - round(step * pow(10, decimals))) > 1e-6)
        decimals++;
    return decimals < 4 ? decimals : 4;
}
