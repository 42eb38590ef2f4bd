#include "base/door.h"

#include <math.h>

struct door door_open(double bound, int64_t longest_ms)
{
    return (struct door){ .bound = bound, .longest_ms = longest_ms };
}

static void swing_from(struct door *d, int64_t t_ms, double value)
{
    d->from_ms = t_ms;
    d->from = value;
    d->lo = -INFINITY;
    d->hi = INFINITY;
}

static void narrow(struct door *d, int64_t t_ms, double value)
{
    double dt = (double)(t_ms - d->from_ms);
    d->lo = fmax(d->lo, (value - d->bound - d->from) / dt);
    d->hi = fmin(d->hi, (value + d->bound - d->from) / dt);
    d->held_ms = t_ms;
    d->held = value;
}

bool door_pass(struct door *d, int64_t t_ms, double value)
{
    if (d->points == 0) {
        swing_from(d, t_ms, value);
        d->held_ms = t_ms;
        d->held = value;
        d->points = 1;
        return false;
    }
    double slope = (value - d->from) / (double)(t_ms - d->from_ms);
    bool keep = d->points > 1 && (slope < d->lo || slope > d->hi || t_ms - d->from_ms > d->longest_ms);
    if (keep)
        swing_from(d, d->held_ms, d->held);
    narrow(d, t_ms, value);
    d->points = 2;
    return keep;
}
