#include "plan/prep.h"

#include <math.h>

#define DAYS_PER_WEEK 7.0

static void sum_water(const struct site *site, int water, double weeks, struct prep_water *sum)
{
    sum->water = water;
    for (int i = 0; i < site->tank_count; i++) {
        const struct tank *tank = &site->tanks[i];
        if (tank->water != water || !(tank->change_l_week > 0.0))
            continue;
        sum->litres += tank->change_l_week * weeks;
        sum->tanks++;
    }
}

static void sum_topoff(const struct site *site, double weeks, struct prep_list *list)
{
    for (int i = 0; i < site->tank_count; i++) {
        const struct tank *tank = &site->tanks[i];
        if (tank->topoff_l_day > 0.0) {
            list->topoff_l += tank->topoff_l_day * DAYS_PER_WEEK * weeks;
            list->topoff_tanks++;
        }
        if (tank->water >= 0 && isnan(tank->change_l_week))
            list->unknown_tanks++;
    }
}

enum status prep_eval(const struct site *site, double weeks, const struct mix_source *source,
                      struct prep_list *out, struct why *why)
{
    if (!(weeks > 0.0 && weeks <= 8.0))
        return why_say(why, STATUS_INVALID, "water is prepared for above 0 to 8 weeks");
    *out = (struct prep_list){ .count = 0 };
    for (int i = 0; i < site->water_count; i++) {
        struct prep_water sum = { .water = i };
        sum_water(site, i, weeks, &sum);
        if (sum.tanks == 0)
            continue;
        if (out->count == PREP_WATERS_MAX)
            return why_say(why, STATUS_FULL, "more than %d waters are in use", PREP_WATERS_MAX);
        sum.mixed = mix_eval(site, i, sum.litres, source, &sum.mix, &sum.why) == STATUS_OK;
        out->waters[out->count++] = sum;
    }
    sum_topoff(site, weeks, out);
    return STATUS_OK;
}
