/* The last three quarters of an hour of a temperature, minute by minute: level, slope, noise, steps. */
#ifndef LENTIC_ENGINE_MINUTES_H
#define LENTIC_ENGINE_MINUTES_H

#include "base/pack.h"
#include "model/site.h"

#define MINUTES_HELD  48
#define MINUTES_LEAST 4 /* behind a slope */

/* Mean of what came within one minute. */
struct minute {
    int32_t minute; /* since 1970 */
    int32_t n;
    double sum;
};

struct minutes {
    struct minute held[MINUTES_HELD];
    int32_t at, count; /* the newest, and how many; those without a value are left out */
};

/* A reading in degrees Celsius. Late ones are passed over. */
void minutes_feed(struct minutes *m, double temp_c, utc_t t);
/* The probe was calibrated: what is held becomes gain * v + offset. */
void minutes_shift(struct minutes *m, double gain, double offset);

/* Mean minutes between those that are held, 0 while there are less than two. */
double minutes_apart(const struct minutes *m);

/* One standard deviation of a minute's mean, K; 0 while too little is known. */
double minutes_noise(const struct minutes *m);

/* How many belong to the present course: none before the last step that neither heater nor room can make.
 * Sets the minute of that step, 0 when there is none. The others take that number as `usable`. */
int minutes_since_step(const struct minutes *m, double fastest_c_h, double noise_c, int32_t *step_minute);

/* Mean of the last five minutes; NaN when nothing came for twenty. */
double minutes_level(const struct minutes *m, int32_t now_min);

/* Least squares over so many minutes, K/h, and how many values are behind it; NaN when too few are. */
double minutes_slope(const struct minutes *m, int usable, int32_t now_min, int minutes, int *count);

/* A heater warms evenly, warm water that is poured in all at once. Over so many minutes, or as many as six
 * values of a probe that speaks seldom take; what the noise may hide is allowed for. */
bool minutes_rise_evenly(const struct minutes *m, int usable, int32_t now_min, int minutes, double noise_c);

/* The coldest and the warmest mean of three; NaN when there are none. */
struct span minutes_turns(const struct minutes *m, int usable, int32_t now_min, int minutes);

void minutes_visit(struct minutes *m, struct pack *p);

#endif
