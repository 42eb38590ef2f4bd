#include "engine/series.h"

#include <math.h>

#include "water/median.h"
#include "water/trend.h"

void series_take(const struct window *w, utc_t now, double *out, int n)
{
    for (int i = 0; i < n; i++) {
        const struct window_bin *bin =
            w == NULL ? NULL : window_at(w, (utc_t){ now.ms - (int64_t)(n - i) * w->bin_ms });
        out[i] = bin == NULL ? NAN : window_mean(bin);
    }
}

double series_median(const double *x, int n, int least)
{
    double kept[SERIES_HOURS];
    int count = 0;
    for (int i = 0; i < n && count < SERIES_HOURS; i++)
        if (!isnan(x[i]))
            kept[count++] = x[i];
    return count == 0 || count < least ? NAN : median_of(kept, (size_t)count);
}

double series_noise(const double *x, int n)
{
    double apart[SERIES_HOURS], last = NAN;
    int count = 0;
    for (int i = 0; i < n && count < SERIES_HOURS; i++) {
        if (isnan(x[i]))
            continue;
        if (!isnan(last))
            apart[count++] = fabs(x[i] - last);
        last = x[i];
    }
    return count < 8 ? NAN : median_of(apart, (size_t)count) / (0.6745 * sqrt(2.0));
}

int series_blocks(const double *x, int n, int width, double *out)
{
    int count = n / width;
    for (int i = 0; i < count; i++)
        out[i] = series_median(x + n - (count - i) * width, width, (width + 1) / 2);
    return count;
}

static double rise_at(const double *x, int at, int reach, double allowed, int *from)
{
    double least = INFINITY;
    for (int i = at < reach ? 0 : at - reach; i <= at; i++)
        if (!isnan(x[i]) && x[i] + allowed * (at - i) < least) {
            least = x[i] + allowed * (at - i);
            *from = i;
        }
    return x[at] - least;
}

struct creep series_creep(const double *x, int n, int reach, double allowed, double hours)
{
    struct creep c = { .usual = NAN };
    int newest = n - 1, from = 0, first = 0, ignored;
    while (newest >= 0 && isnan(x[newest]))
        newest--;
    if (newest < 0)
        return c;
    c.rise = rise_at(x, newest, reach, allowed, &from);
    c.hours = (newest - from) * hours;
    while (first < n && isnan(x[first]))
        first++;
    c.past = (from - first) * hours;
    /* Half of the reach is the least that can have shown a usual rise. */
    if (from - first < reach / 2)
        return c;
    c.usual = 0;
    for (int i = first; i <= from; i++)
        if (!isnan(x[i]))
            c.usual = fmax(c.usual, rise_at(x, i, reach, allowed, &ignored));
    return c;
}

struct slope series_slope(const double *x, int n, int least)
{
    static double scratch[TREND_SCRATCH(SERIES_SLOPE_MAX)];
    double t[SERIES_SLOPE_MAX], v[SERIES_SLOPE_MAX], off[SERIES_SLOPE_MAX], spread = 0, mean = 0;
    struct slope out = { NAN, NAN, 0 };
    struct trend trend;
    for (int i = n > SERIES_SLOPE_MAX ? n - SERIES_SLOPE_MAX : 0; i < n; i++)
        if (!isnan(x[i])) {
            t[out.n] = i;
            v[out.n++] = x[i];
        }
    if (out.n < least || trend_fit(t, v, (size_t)out.n, scratch, &trend, NULL) != STATUS_OK)
        return out;
    for (int i = 0; i < out.n; i++)
        mean += t[i] / out.n;
    for (int i = 0; i < out.n; i++) {
        off[i] = fabs(v[i] - trend.intercept - trend.slope * t[i]);
        spread += (t[i] - mean) * (t[i] - mean);
    }
    out.per = trend.slope;
    out.sd = 2 * median_of(off, (size_t)out.n) / 0.6745 / sqrt(spread);
    return out;
}

bool series_falls_along(const double *x, int n, double least)
{
    double quarter[4];
    for (int i = 0; i < 4; i++)
        quarter[i] = series_median(x + n * i / 4, n * (i + 1) / 4 - n * i / 4, 2);
    double whole = quarter[0] - quarter[3], share = 0.12 * whole;
    return whole > 0.75 * least && quarter[0] - quarter[1] > share && quarter[1] - quarter[2] > share &&
           quarter[2] - quarter[3] > share;
}

int series_teeth(const double *x, int n, double least)
{
    double lowest = INFINITY, highest = -INFINITY;
    int teeth = 0;
    bool rising = false;
    for (int i = 0; i < n; i++) {
        if (isnan(x[i]))
            continue;
        lowest = fmin(lowest, x[i]);
        highest = fmax(highest, x[i]);
        if (!rising && x[i] - lowest >= least) {
            rising = true;
            highest = x[i];
        } else if (rising && highest - x[i] >= least) {
            rising = false;
            lowest = x[i];
            teeth++;
        }
    }
    return teeth;
}

/* --- a line or a step --- */

struct sums {
    double n, t, x, tt, tx, xx;
};

static void sums_add(struct sums *s, double t, double x)
{
    s->n++;
    s->t += t;
    s->x += x;
    s->tt += t * t;
    s->tx += t * x;
    s->xx += x * x;
}

/* What is left of the squares when the mean, or a line, is taken out. */
static double left_of_mean(const struct sums *s)
{
    return s->n == 0 ? 0 : fmax(s->xx - s->x * s->x / s->n, 0);
}

static double left_of_line(const struct sums *s)
{
    double tt = s->tt - s->t * s->t / s->n, tx = s->tx - s->t * s->x / s->n;
    return tt > 0 ? fmax(left_of_mean(s) - tx * tx / tt, 0) : left_of_mean(s);
}

#define SLOPES_LEAST  6
#define SLOPES_LIKELY 4.0

bool series_slopes(const double *x, int n)
{
    struct sums all = { 0 };
    double first = NAN, step = INFINITY;
    for (int i = 0; i < n; i++) {
        first = isnan(first) ? x[i] : first; /* small numbers keep their last digits */
        if (!isnan(x[i]))
            sums_add(&all, i, x[i] - first);
    }
    if (all.n < SLOPES_LEAST)
        return false;
    struct sums early = { 0 };
    for (int i = 0; i < n; i++) {
        if (isnan(x[i]))
            continue;
        sums_add(&early, i, x[i] - first);
        struct sums late = { all.n - early.n, 0, all.x - early.x, 0, 0, all.xx - early.xx };
        step = fmin(step, left_of_mean(&early) + left_of_mean(&late));
    }
    double line = left_of_line(&all);
    return step > line * (1 + SLOPES_LIKELY / (all.n - 2));
}
