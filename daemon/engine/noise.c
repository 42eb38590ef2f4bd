#include "engine/noise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LOOK_EVERY  5
#define LEARN_S     (2 * 86400.0)
#define LEARN_BELOW 2.0 /* times the usual: more is not learnt from */
#define FIRST_BELOW 6.0 /* times the floor: a cheap probe may be as noisy as that from the first day on */
#define FLICKER_SD  0.4 /* of a step; flickering measures 1.2 and stays below four times this */
#define SD_OF_MEDIAN                                                                                         \
    0.6053 /* of abs(v[n] - 2 v[n-1] + v[n-2]), normally distributed noise: 1 / (0.6745 sqrt(6)) */

void noise_init(struct noise *n)
{
    memset(n, 0, sizeof *n);
    n->usual_sd = n->step = NAN;
}

static int compare(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

double noise_sd(const struct noise *n)
{
    float sorted[NOISE_KEPT];
    if (n->count < NOISE_KEPT)
        return NAN;
    memcpy(sorted, n->kept, sizeof sorted);
    qsort(sorted, NOISE_KEPT, sizeof *sorted, compare);
    return SD_OF_MEDIAN * (double)sorted[NOISE_KEPT / 2];
}

double noise_usual_sd(const struct noise *n, double floor_sd)
{
    return fmax(fmax(n->usual_sd, FLICKER_SD * n->step), floor_sd); /* fmax steps over NaN */
}

static void learn(struct noise *n, double over_s, double floor_sd)
{
    double sd = noise_sd(n), usual = noise_usual_sd(n, floor_sd);
    double most = isnan(n->usual_sd) ? FIRST_BELOW : LEARN_BELOW;
    if (isnan(sd) || sd > most * usual)
        return;
    n->learnt_s = fmin(n->learnt_s + over_s, LEARN_S);
    double share = fmin(over_s / n->learnt_s, 1);
    n->usual_sd = isnan(n->usual_sd) ? sd : n->usual_sd + share * (sd - n->usual_sd);
}

bool noise_add(struct noise *n, int64_t t_ms, double v, double gap_s, double floor_sd)
{
    double pause_s = (double)(t_ms - n->t_ms[0]) / 1000;
    if (n->t_ms[0] == 0 || pause_s > gap_s)
        n->t_ms[0] = n->t_ms[1] = 0;
    bool looked = false;
    if (n->t_ms[1] != 0) {
        /* Readings need not be evenly apart: the middle one against the line through its neighbours. */
        double share = (double)(n->t_ms[0] - n->t_ms[1]) / (double)(t_ms - n->t_ms[1]);
        n->kept[n->at] = (float)(2 * fabs(n->v[0] - n->v[1] - share * (v - n->v[1])));
        n->at = (n->at + 1) % NOISE_KEPT;
        n->count += n->count < NOISE_KEPT;
        looked = n->at % LOOK_EVERY == 0 && n->count == NOISE_KEPT;
    }
    if (looked)
        learn(n, LOOK_EVERY * pause_s, floor_sd);
    if (n->t_ms[0] != 0 && v != n->v[0])
        n->step = fmin(n->step, fabs(v - n->v[0]));
    n->t_ms[1] = n->t_ms[0];
    n->v[1] = n->v[0];
    n->t_ms[0] = t_ms;
    n->v[0] = v;
    return looked;
}

void noise_visit(struct noise *n, struct pack *p)
{
    pack_i32(p, &n->count, 0, NOISE_KEPT);
    pack_i32(p, &n->at, 0, NOISE_KEPT - 1);
    for (int i = 0; i < NOISE_KEPT && !p->bad; i++) {
        double kept = (double)n->kept[i];
        pack_f64(p, &kept, 0, 1e12);
        n->kept[i] = (float)kept;
    }
    for (int i = 0; i < 2; i++) {
        pack_i64(p, &n->t_ms[i], 0, INT64_MAX);
        pack_f64(p, &n->v[i], -1e12, 1e12);
    }
    pack_f64(p, &n->usual_sd, 0, 1e12);
    pack_f64(p, &n->learnt_s, 0, 1e12);
    pack_f64(p, &n->step, 0, 1e12);
}
