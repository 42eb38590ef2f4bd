#include "show/tally.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEPS_MAX      2048
#define SWING_WIDTH_MS (6 * MS_PER_HOUR) /* a day in fewer than four pieces says nothing of its swing */

static int by_size(const void *a, const void *b)
{
    const int64_t *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

static int64_t usual_step(const struct tally_point *points, int count)
{
    int64_t steps[STEPS_MAX];
    int n = 0;
    for (int i = 1; i < count && n < STEPS_MAX; i++)
        steps[n++] = points[i].t.ms - points[i - 1].t.ms;
    if (n == 0)
        return 0;
    qsort(steps, (size_t)n, sizeof *steps, by_size);
    return steps[n / 2];
}

/* Widest range of means in the day that ends with point i. */
static double range_to(const struct tally_point *points, int i)
{
    double lo = INFINITY, hi = -INFINITY;
    for (int k = i; k >= 0 && points[i].t.ms - points[k].t.ms < MS_PER_DAY; k--)
        if (!isnan(points[k].mean)) {
            lo = fmin(lo, points[k].mean);
            hi = fmax(hi, points[k].mean);
        }
    return hi - lo;
}

static double widest_day(const struct tally_point *points, int count)
{
    double widest = NAN;
    for (int i = 0; i < count; i++)
        if (!isnan(points[i].mean))
            widest = fmax(widest, range_to(points, i));
    return widest;
}

static void take_ends(struct tally *out, const struct tally_point *p)
{
    if (isnan(out->lo) || p->lo < out->lo) {
        out->lo = p->lo;
        out->lo_at = p->t;
    }
    if (isnan(out->hi) || p->hi > out->hi) {
        out->hi = p->hi;
        out->hi_at = p->t;
    }
    out->last = p->mean;
    out->last_t = p->t;
}

static bool is_inside(struct span band, double v)
{
    return !(v < band.lo) && !(v > band.hi);
}

void tally_of(const struct tally_point *points, int count, int64_t width_ms, struct span band,
              struct tally *out)
{
    int used = 0, inside = 0;
    double sum = 0;
    *out = (struct tally){ .lo = NAN, .mean = NAN, .hi = NAN, .swing = NAN, .in_band = NAN, .last = NAN };
    out->lo_at = out->hi_at = out->last_t = UTC_NONE;
    out->usual_step_ms = usual_step(points, count);
    for (int i = 0; i < count; i++) {
        out->n += points[i].n;
        out->good += points[i].good;
        if (isnan(points[i].mean))
            continue;
        used++;
        sum += points[i].mean;
        inside += is_inside(band, points[i].mean);
        take_ends(out, &points[i]);
    }
    if (used == 0)
        return;
    out->mean = sum / used;
    if (!isnan(band.lo) || !isnan(band.hi))
        out->in_band = (double)inside / used;
    if (width_ms <= SWING_WIDTH_MS)
        out->swing = widest_day(points, count);
}
