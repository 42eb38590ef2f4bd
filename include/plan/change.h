/* Water changes that bring a tank to a value without a step that its animals would feel. */
#ifndef LENTIC_PLAN_CHANGE_H
#define LENTIC_PLAN_CHANGE_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

#define CHANGE_MOST_DEFAULT                                                                                  \
    0.30 /* largest share of one change when none is said: common advice for shrimp, 10 to 30 % */
#define CHANGE_STEPS_MAX 60

struct change_ask {
    int tank;
    enum quantity quantity;   /* a conserved one: ec, tds, gh, kh, no3 ... */
    double now, wanted, with; /* in the tank, to be reached, of the change water */
    double most;              /* largest share of one change, above 0 to 1 */
};

struct change_plan {
    int count;
    double fraction, litres;        /* of each change */
    double after[CHANGE_STEPS_MAX]; /* value after each */
    double largest_step;
    bool held_by_step; /* the limit of one step, not `most`, sets the size */
    double step_limit; /* NaN: none */
};

/* STATUS_REFUSED as mixing_changes, or when more than CHANGE_STEPS_MAX changes would be needed. */
enum status change_eval(const struct site *site, const struct change_ask *ask, struct change_plan *out,
                        struct why *why) LENTIC_CHECKED;

#endif
