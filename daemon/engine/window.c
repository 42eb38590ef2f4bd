#include "engine/window.h"

#include <math.h>
#include <string.h>

/* Of so many values one odd one moves the mean; of more it is lost among them. */
#define TRIM_LEAST 3
#define TRIM_MOST  60

void window_init(struct window *w, int64_t bin_ms, int64_t span_ms, struct arena *arena)
{
    w->bin_ms = bin_ms;
    w->cap = (int)(span_ms / bin_ms) + 2;
    w->newest = 0;
    w->bins = arena_take(arena, (size_t)w->cap, sizeof *w->bins);
}

void window_clear(struct window *w)
{
    memset(w->bins, 0, (size_t)w->cap * sizeof *w->bins);
    w->newest = 0;
}

static int32_t index_of(const struct window *w, utc_t t)
{
    return t.ms <= 0 ? 0 : (int32_t)(t.ms / w->bin_ms);
}

void window_add(struct window *w, utc_t t, double v)
{
    int32_t index = index_of(w, t);
    if (index <= w->newest - w->cap)
        return;
    if (index > w->newest)
        w->newest = index;
    struct window_bin *bin = &w->bins[index % w->cap];
    if (bin->index != index)
        *bin = (struct window_bin){ .index = index };
    if (bin->n == 0 || v < (double)bin->lo)
        bin->lo = (float)v;
    if (bin->n == 0 || v > (double)bin->hi)
        bin->hi = (float)v;
    bin->sum += v;
    bin->n++;
}

const struct window_bin *window_at(const struct window *w, utc_t t)
{
    int32_t index = index_of(w, t);
    const struct window_bin *bin = &w->bins[index % w->cap];
    return bin->index == index && bin->n > 0 ? bin : NULL;
}

double window_mean(const struct window_bin *bin)
{
    return bin->sum / bin->n;
}

void window_forget_since(struct window *w, utc_t t)
{
    for (int i = 0; i < w->cap; i++)
        if (w->bins[i].index >= index_of(w, t))
            w->bins[i] = (struct window_bin){ 0 };
}

static double median3(double a, double b, double c)
{
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

static double mean_at(const struct window *w, int64_t ms)
{
    const struct window_bin *bin = ms < 0 ? NULL : window_at(w, (utc_t){ ms });
    return bin == NULL ? NAN : window_mean(bin);
}

double window_calm_mean(const struct window *w, utc_t t)
{
    double own = mean_at(w, t.ms), before = mean_at(w, t.ms - w->bin_ms),
           other = mean_at(w, t.ms + w->bin_ms);
    if (isnan(other))
        other = mean_at(w, t.ms - 2 * w->bin_ms);
    if (isnan(own) || isnan(before) || isnan(other))
        return own;
    return median3(own, before, other);
}

static utc_t begin_of(const struct window *w, const struct window_bin *bin)
{
    return (utc_t){ (int64_t)bin->index * w->bin_ms };
}

struct window_range window_range(const struct window *w, utc_t to, int64_t span_ms)
{
    struct window_range r = { NAN, NAN, NAN, NAN, UTC_NONE, UTC_NONE, 0 };
    if (!utc_is_set(to))
        return r;
    int32_t last = index_of(w, to);
    int32_t first = index_of(w, (utc_t){ to.ms - span_ms }) + 1;
    if (first <= w->newest - w->cap)
        first = w->newest - w->cap + 1;
    if (last > w->newest)
        last = w->newest;
    for (int32_t index = first < 0 ? 0 : first; index <= last; index++) {
        const struct window_bin *bin = &w->bins[index % w->cap];
        if (bin->n == 0 || bin->index != index)
            continue;
        if (r.bins == 0 || (double)bin->lo <= r.lo) {
            r.lo = (double)bin->lo;
            r.lo_at = begin_of(w, bin);
        }
        if (r.bins == 0 || (double)bin->hi >= r.hi) {
            r.hi = (double)bin->hi;
            r.hi_at = begin_of(w, bin);
        }
        double mean = window_calm_mean(w, begin_of(w, bin));
        r.mean_lo = fmin(r.mean_lo, mean);
        r.mean_hi = fmax(r.mean_hi, mean);
        r.bins++;
    }
    return r;
}

double window_mean_over(const struct window *w, utc_t to, int64_t span_ms)
{
    double sum = 0, lo = NAN, hi = NAN;
    int64_t n = 0;
    if (!utc_is_set(to))
        return NAN;
    for (int64_t t = to.ms; t > to.ms - span_ms; t -= w->bin_ms) {
        const struct window_bin *bin = window_at(w, (utc_t){ t });
        if (bin != NULL) {
            sum += bin->sum;
            n += bin->n;
            lo = fmin(lo, (double)bin->lo);
            hi = fmax(hi, (double)bin->hi);
        }
    }
    if (n >= TRIM_LEAST && n <= TRIM_MOST)
        return (sum - lo - hi) / (double)(n - 2);
    return n == 0 ? NAN : sum / (double)n;
}

void window_map(struct window *w, double gain, double offset)
{
    for (int i = 0; i < w->cap; i++) {
        struct window_bin *bin = &w->bins[i];
        double a = gain * (double)bin->lo + offset, b = gain * (double)bin->hi + offset;
        if (bin->n == 0)
            continue;
        bin->lo = (float)fmin(a, b);
        bin->hi = (float)fmax(a, b);
        bin->sum = gain * bin->sum + offset * bin->n;
    }
}

static const struct window_bin *held_at(const struct window *w, int32_t index)
{
    const struct window_bin *bin = &w->bins[index % w->cap];
    return index >= 0 && bin->index == index && bin->n > 0 ? bin : NULL;
}

static int32_t count_held(const struct window *w)
{
    int32_t held = 0;
    for (int32_t index = w->newest - w->cap + 1; index <= w->newest; index++)
        held += held_at(w, index) != NULL;
    return held;
}

/* In order of time, each by its distance from the one before: eighteen bytes for nearly all. They are most of
 * what is saved, every few seconds to memory and once a day to the disk. */
void window_visit(struct window *w, struct pack *p)
{
    int32_t held = p->reading ? 0 : count_held(w), step;
    pack_i32(p, &w->newest, 0, INT32_MAX);
    pack_i32(p, &held, 0, w->cap);
    int32_t index = w->newest - w->cap;
    for (int32_t i = 0; i < held && !p->bad; i++) {
        struct window_bin bin = { 0 };
        for (step = 1; !p->reading && held_at(w, index + step) == NULL;)
            step++;
        if (!p->reading)
            bin = *held_at(w, index + step);
        pack_count(p, &step, 1, w->newest - index);
        index += step;
        pack_count(p, &bin.n, 1, INT32_MAX);
        pack_f32(p, &bin.lo, -1e12F, 1e12F);
        pack_f32(p, &bin.hi, -1e12F, 1e12F);
        pack_f64(p, &bin.sum, -1e18, 1e18);
        bin.index = index;
        if (p->reading && !p->bad && index >= 0)
            w->bins[index % w->cap] = bin;
    }
}
