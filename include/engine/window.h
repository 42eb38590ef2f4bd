/* Rolling extremes, means and trend of one stream in bins of fixed length, on the time of the readings. A bin
 * stands at its own place, so late values find it too and nothing is ever shifted. */
#ifndef LENTIC_ENGINE_WINDOW_H
#define LENTIC_ENGINE_WINDOW_H

#include "base/arena.h"
#include "base/pack.h"

struct window_bin {
    int32_t index; /* time / bin length */
    int32_t n;     /* 0: empty */
    float lo, hi;
    double sum;
};

struct window {
    int64_t bin_ms;
    int cap;
    int32_t newest; /* index of the newest bin, 0 when empty */
    struct window_bin *bins;
};

/* Holds at least span_ms back from the newest value. */
void window_init(struct window *w, int64_t bin_ms, int64_t span_ms, struct arena *arena);
void window_add(struct window *w, utc_t t, double v);
void window_clear(struct window *w);
/* By whole bins: the one that t falls into, and what is newer. */
void window_forget_since(struct window *w, utc_t t);
/* What it holds becomes gain * v + offset. */
void window_map(struct window *w, double gain, double offset);

/* The bin at a time; NULL when it holds nothing. */
const struct window_bin *window_at(const struct window *w, utc_t t);
double window_mean(const struct window_bin *bin);

/* Mean of the bin at a time as its neighbours agree on it: the median of its own mean and theirs, at the
 * newest edge of the two before. One odd value moves it little, a step or a slope not at all. NaN when the
 * bin holds nothing. */
double window_calm_mean(const struct window *w, utc_t t);

struct window_range {
    double lo, hi;           /* single values */
    double mean_lo, mean_hi; /* of the bins' calm means */
    utc_t lo_at, hi_at;      /* begin of the bins */
    int bins;                /* that hold something; 0: lo and hi are NaN */
};

/* Mean of what the bins hold that begin in (to - span_ms, to], without the lowest and the highest of
 * a few: NaN when they hold nothing. */
double window_mean_over(const struct window *w, utc_t to, int64_t span_ms);

/* Extremes over (to - span_ms, to], by whole bins. */
struct window_range window_range(const struct window *w, utc_t to, int64_t span_ms);

void window_visit(struct window *w, struct pack *p);

#endif
