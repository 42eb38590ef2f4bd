/* What a stretch of history comes to: lowest, mean, highest, the swing of its days, how much of it was inside
 * a band, how many of its readings were good. */
#ifndef LENTIC_SHOW_TALLY_H
#define LENTIC_SHOW_TALLY_H

#include "base/times.h"
#include "model/site.h"

/* What fell into one of many equal spans of time. */
struct tally_point {
    utc_t t;             /* begin of the span; of a single reading its own time */
    double mean, lo, hi; /* of readings whose number can be trusted; NaN: none */
    int n, good;         /* readings; of them good (flag 1) */
};

struct tally {
    long n, good;
    double lo, mean, hi;   /* mean of the spans; NaN: nothing can be trusted */
    utc_t lo_at, hi_at;    /* UTC_NONE */
    double swing;          /* widest range of the means within any 24 h; NaN: the spans are too long for it */
    double in_band;        /* share of the spans whose mean lies in the band; NaN: no band or no value */
    double last;           /* mean of the last span with a value; NaN */
    utc_t last_t;          /* UTC_NONE */
    int64_t usual_step_ms; /* median distance of points; 0: fewer than two */
};

/* points: oldest first. width_ms: of the spans. */
void tally_of(const struct tally_point *points, int count, int64_t width_ms, struct span band,
              struct tally *out);

#endif
