/* Has a probe come to rest in a buffer, a standard, beside a reference? It has when its last readings,
 * STEADY_COUNT and STEADY_LEAST_MS of them at least, lie within STEADY_NOISES times its own noise. */
#ifndef LENTIC_MODEL_STEADY_H
#define LENTIC_MODEL_STEADY_H

#include <stdbool.h>
#include <stdint.h>
#include "model/quantity.h"

#define STEADY_COUNT    6
#define STEADY_LEAST_MS 20000
#define STEADY_NOISES   4.0
#define STEADY_ROOM     64  /* readings kept */
#define STEADY_NEAR_MS  400 /* a reading sooner after the last one is left out */

struct steady {
    double v[STEADY_ROOM];
    int64_t t_ms[STEADY_ROOM];
    int count;
};

struct steady_view {
    bool steady;
    int count;   /* readings looked at */
    double mean; /* NaN: none */
    double span; /* highest less lowest */
    double most; /* the largest span that counts as rest */
    int64_t took_ms;
};

void steady_add(struct steady *s, int64_t t_ms, double v);

/* noise: one standard deviation, in the unit of the readings. */
struct steady_view steady_view(const struct steady *s, double noise);

/* Noise of a cheap probe of that quantity at that reading; millivolts: of an electrode's raw voltage. */
double steady_noise(enum quantity q, bool millivolts, double v);

#endif
