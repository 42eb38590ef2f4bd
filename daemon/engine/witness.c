#include "engine/witness.h"

#include <math.h>

#define WITNESS_SDS   1.0
#define WITNESS_LEAST 1.5 /* standard deviations: a smaller creep is within what a test errs */
/* Shares of a creep that the probe made alone; between them nothing is said, or two verdicts would alternate.
 */
#define WITNESS_MOST   0.6
#define WITNESS_LITTLE 0.4
#define PROBE_SD       0.03 /* of a conductivity probe that no earlier test was held against */

/* log(probe / hand) at a test; NaN: the probe said nothing then. */
static double apart(const struct window *days, const struct hand_test *test)
{
    double probe = window_mean_over(days, (utc_t){ test->t.ms + MS_PER_HOUR }, 2 * MS_PER_HOUR);
    return log(probe / test->value);
}

/* way: +1 up, -1 down. */
static enum solids_witness says(const struct engine *e, int tank, const struct creep *c, int way, utc_t now)
{
    const struct hand_tests *tests = &e->tanks[tank].hand[Q_EC];
    const struct window *days = days_window(e, e->site->tanks[tank].place, Q_EC);
    utc_t begin = { now.ms - (int64_t)(c->hours * (double)MS_PER_HOUR) };
    if (days == NULL || tests->count == 0 || tests->items[0].t.ms <= begin.ms)
        return WITNESS_NONE;
    const struct hand_test *late = &tests->items[0];
    double crept = c->rise * (double)(late->t.ms - begin.ms) / (double)(now.ms - begin.ms);
    double before = 0, sd = PROBE_SD, late_sd = late->sd / late->value;
    for (int i = tests->count - 1; i > 0; i--)
        if (tests->items[i].t.ms <= begin.ms + MS_PER_DAY && !isnan(apart(days, &tests->items[i]))) {
            before = apart(days, &tests->items[i]);
            sd = tests->items[i].sd / tests->items[i].value;
        }
    double probe_alone = way * (apart(days, late) - before);
    sd = hypot(sd, late_sd);
    if (isnan(probe_alone) || !(crept > WITNESS_LEAST * sd))
        return WITNESS_NONE;
    if (probe_alone > WITNESS_MOST * crept && probe_alone > WITNESS_SDS * sd)
        return WITNESS_PROBE;
    return probe_alone < WITNESS_LITTLE * crept ? WITNESS_WATER : WITNESS_NONE;
}

enum solids_witness witness_climb(const struct engine *e, int tank, utc_t now)
{
    return says(e, tank, &e->tanks[tank].solids.climb, 1, now);
}

enum solids_witness witness_sink(const struct engine *e, int tank, utc_t now)
{
    return says(e, tank, &e->tanks[tank].solids.sink, -1, now);
}
