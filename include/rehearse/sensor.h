/* One probe as it is sold: an offset, a gain that is a little off, noise, steps, and the unit and form its
 * configuration tells. It sends what the configuration would turn back into the true value and its errors. */
#ifndef LENTIC_REHEARSE_SENSOR_H
#define LENTIC_REHEARSE_SENSOR_H

#include <stdbool.h>
#include "model/site.h"
#include "rehearse/dice.h"

struct sensor {
    const struct probe_value *value; /* the site's */
    double offset;                   /* stored unit */
    double gain;                     /* about 1 */
    double gain_per_day;             /* ageing */
    double noise_sd;                 /* stored unit */
    double step;                     /* stored unit: smallest difference it can tell */
    double last;                     /* last reading, stored unit; NaN: none yet */
};

/* What it meets. */
struct sensor_input {
    double truth;                    /* stored unit (conductivity at 25 degrees) */
    double temp_c;                   /* of what it hangs in */
    double days;                     /* since the start, for ageing */
    double noise_gain;               /* 1 as usual */
    double drift_gain, drift_offset; /* by a fault: 1 and 0 when sound */
    bool stuck;
};

struct sensor sensor_init(const struct probe_value *value, struct dice *dice);

/* The number as it is sent, in the probe's own unit. NaN when the truth is NaN. */
double sensor_read(struct sensor *s, const struct sensor_input *in, struct dice *dice);

/* Decimals that show one step of it in the probe's own unit, 0..6. */
int sensor_decimals(const struct sensor *s);

/* Stored unit and 25 degrees to what the probe of that value sends: the reverse of reading it. */
double sensor_unread(const struct probe_value *value, double stored, double temp_c);

#endif
