#include "water/trend.h"
#include "water/median.h"

#include <math.h>

static size_t pair_slopes(const double *t, const double *v, size_t n, double *slopes)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++)
            if (t[i] != t[j])
                slopes[count++] = (v[j] - v[i]) / (t[j] - t[i]);
    return count;
}

enum status trend_fit(const double *t, const double *v, size_t n, double *scratch, struct trend *out,
                      struct why *why)
{
    if (n > TREND_POINTS_MAX)
        return why_say(why, STATUS_INVALID, "%zu points are more than %d: thin them out", n,
                       TREND_POINTS_MAX);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(t[i]) || !isfinite(v[i]))
            return why_say(why, STATUS_INVALID, "point %zu is not a number", i + 1);
    if (n < 2)
        return why_say(why, STATUS_REFUSED, "%zu point%s have no slope: at least two are needed", n,
                       n == 1 ? "" : "s");
    size_t count = pair_slopes(t, v, n, scratch);
    if (count == 0)
        return why_say(why, STATUS_REFUSED, "all %zu points have the same time: no slope", n);
    struct trend found = { median_of(scratch, count), 0.0 };
    for (size_t i = 0; i < n; i++)
        scratch[i] = v[i] - found.slope * t[i];
    found.intercept = median_of(scratch, n);
    *out = found;
    return STATUS_OK;
}
