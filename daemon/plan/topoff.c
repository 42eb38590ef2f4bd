#include "plan/topoff.h"
#include "water/mixing.h"

#include <math.h>

#define LARGE_SHARE 0.1

enum status topoff_eval(const struct site *site, const struct topoff_ask *ask, struct topoff_plan *out,
                        struct why *why)
{
    if (ask->tank < 0 || ask->tank >= site->tank_count)
        return why_say(why, STATUS_INVALID, "there is no such tank");
    double full_l = site->tanks[ask->tank].volume_l, litres;
    enum status st = isnan(ask->litres_now)
                         ? mixing_topoff_full(ask->was, ask->now, full_l, &litres, why)
                         : mixing_topoff_now(ask->was, ask->now, ask->litres_now, &litres, why);
    if (st != STATUS_OK)
        return st;
    *out = (struct topoff_plan){ litres, litres / full_l, litres / full_l > LARGE_SHARE };
    return STATUS_OK;
}
