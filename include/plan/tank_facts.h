/* What a plan of a tank takes as known: each value with where it comes from, and in words what is missing and
 * what was assumed instead. */
#ifndef LENTIC_PLAN_TANK_FACTS_H
#define LENTIC_PLAN_TANK_FACTS_H

#include "model/report.h"
#include "model/week.h"
#include "plan/diary.h"

/* Fills *out but for the stages. */
void tank_facts(const struct site *site, const struct tank_report *report, const struct diary *diary,
                double room_c, int days, struct week_tank *out);

#endif
