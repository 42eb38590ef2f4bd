/* The week's water: how much of each mix, what to weigh, how much pure water for evaporation. */
#ifndef LENTIC_PLAN_PREP_H
#define LENTIC_PLAN_PREP_H

#include <stdbool.h>
#include "plan/mix.h"

#define PREP_WATERS_MAX 32

struct prep_water {
    int water;
    double litres;
    int tanks;  /* that get some of it */
    bool mixed; /* plan is meaningful */
    struct mix_plan mix;
    struct why why; /* when not mixed */
};

struct prep_list {
    struct prep_water waters[PREP_WATERS_MAX];
    int count;
    double topoff_l; /* pure water against evaporation, where the usual amount is known */
    int topoff_tanks;
    int unknown_tanks; /* with a water but no usual weekly change */
};

/* For so many weeks (above 0 to 8), from tanks' usual changes and top-offs. STATUS_FULL: more than
 * PREP_WATERS_MAX waters. */
enum status prep_eval(const struct site *site, double weeks, const struct mix_source *source,
                      struct prep_list *out, struct why *why) LENTIC_CHECKED;

#endif
