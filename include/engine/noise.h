/* How much a probe jumps about from one reading to the next, by second differences: a trend, however steep,
 * leaves none, and single odd values do not weigh. The usual amount is learnt over days. */
#ifndef LENTIC_ENGINE_NOISE_H
#define LENTIC_ENGINE_NOISE_H

#include "base/pack.h"

#define NOISE_KEPT 15 /* second differences looked at */

struct noise {
    float kept[NOISE_KEPT];
    int32_t count, at;
    int64_t t_ms[2]; /* of the last two readings, newest first; 0: none */
    double v[2];
    double usual_sd; /* learnt; NaN */
    double learnt_s; /* time behind it */
    double step;     /* the smallest change ever seen: the probe's resolution; NaN */
};

void noise_init(struct noise *n);

/* A usable reading; a pause longer than gap_s begins anew. True when the amount was looked at again.
 * floor_sd: no probe is taken to be quieter. */
bool noise_add(struct noise *n, int64_t t_ms, double v, double gap_s, double floor_sd);

double noise_sd(const struct noise *n); /* one standard deviation now; NaN: too few readings */
/* At least floor_sd, and what a value that flickers between two steps looks like. */
double noise_usual_sd(const struct noise *n, double floor_sd);

void noise_visit(struct noise *n, struct pack *p);

#endif
