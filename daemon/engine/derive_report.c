/* Values that follow from others, with the age and flag of their weakest input. */
#include "engine/state.h"

#include <math.h>

#include "water/conductivity.h"

#define TDS_USUAL_FACTOR 0.64 /* shown as such when the water has none of its own */

static void weaken(struct value_report *out, const struct value_report *input)
{
    static const int rank[] = { [FLAG_NONE] = 0,    [FLAG_GOOD] = 1, [FLAG_NOT_EVALUATED] = 2,
                                [FLAG_SUSPECT] = 3, [FLAG_FAIL] = 4, [FLAG_MISSING] = 5 };
    if (!utc_is_set(out->t) || input->t.ms < out->t.ms)
        out->t = input->t;
    if (rank[input->flag] > rank[out->flag])
        out->flag = input->flag;
    out->stale = out->stale || input->stale;
}

static void derive_tds(const struct engine *e, struct tank_report *r)
{
    const struct value_report *ec = &r->values[Q_EC];
    struct value_report *out = &r->derived[DERIVED_TDS];
    int water = e->site->tanks[r->tank].water;
    double factor = water < 0 ? NAN : e->site->waters[water].tds_per_ec;
    if (ec->origin == ORIGIN_NONE)
        return;
    out->value = conductivity_tds(ec->value, isnan(factor) ? TDS_USUAL_FACTOR : factor);
    out->origin = ORIGIN_DERIVED;
    weaken(out, ec);
}

void derive_report(const struct engine *e, struct tank_report *r)
{
    derive_tds(e, r);
}
