/* The coming days of one tank: changes with their reason, size and step, in stages where one would be too
 * large; top-off and reservoir; hand tests due. Pure: a report of the tank, the journal's diary, the room.
 *
 * A change is due by the calendar (the tank's usual change), when the tank is further from its water than may
 * be or out of its animals' band, when its trend passes that limit before the day is over, or by the nitrate
 * test. A correction, once begun, goes on a stage a day (plan.stage_d) until it is well inside. Each stage is
 * so small that no conserved value moves by more than the animals' limit of one step, nor more than
 * plan.most_share of the tank is changed; where the new water's temperature would make too large a step it is
 * to be brought nearer first. Between stages values go on moving by the trend. */
#ifndef LENTIC_PLAN_TANK_WEEK_H
#define LENTIC_PLAN_TANK_WEEK_H

#include "model/report.h"
#include "model/week.h"
#include "plan/diary.h"

#define TANK_WEEK_DAYS_MAX 28

/* days: whole, 1..TANK_WEEK_DAYS_MAX. room_c: NaN when not known. report: of the tank it names, with t as
 * now; values that nobody measured are ORIGIN_NONE. */
void tank_week_eval(const struct site *site, const struct tank_report *report, const struct diary *diary,
                    double room_c, int days, struct week_tank *out);

#endif
