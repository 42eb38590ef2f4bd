/* The coming days of the room, from the weeks of its tanks: each water to prepare, grams of each salt and
 * when it is used up, purified water against what the source gives, calibrations due. Pure. */
#ifndef LENTIC_PLAN_ROOM_WEEK_H
#define LENTIC_PLAN_ROOM_WEEK_H

#include "model/week.h"
#include "plan/diary.h"

/* When a probe was calibrated last. */
struct room_probe {
    utc_t calibrated; /* UTC_NONE: never here */
    bool fresh;       /* exchanged, and not calibrated since */
};

/* tanks: a week of each of the site's tanks, over the same days from nearly one time. probes: one for each
 * of the site's streams; NULL: not known. */
void room_week_eval(const struct site *site, const struct week_tank *tanks, const struct diary *diary,
                    const struct room_probe *probes, struct week_room *out);

/* The source a tank's water and its top-off come from: its water's, else the only one; -1. */
int room_week_source(const struct site *site, int tank);

#endif
