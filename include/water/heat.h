/* How a tank cools and warms: Newton's law, dT/dt = (room - T)/tau + P/C. Times in hours.
 *
 * Sources: Incropera et al., Fundamentals of Heat and Mass Transfer, ch. 5 (lumped capacitance); water 4186
 * J/(kg K), glass 840 J/(kg K). Closed forms to 1e-5; the law itself holds to some 5 % for a stirred tank in
 * a room with steady air. Valid: temperatures -20..60 degrees, tau 0.01..1000 h. */
#ifndef LENTIC_WATER_HEAT_H
#define LENTIC_WATER_HEAT_H

#include "base/status.h"

/* J/K of a tank with that much water and glass. */
double heat_capacity_j_k(double volume_l, double glass_kg);

/* Where it settles in the end with a heater that is always on: room + P tau / C. */
double heat_settles_c(double room_c, double heater_w, double capacity_j_k, double tau_h);

/* Temperature after so many hours, towards ambient_c (the room, or heat_settles_c). hours >= 0. */
enum status heat_after(double t0_c, double ambient_c, double tau_h, double hours, double *temp_c,
                       struct why *why) LENTIC_CHECKED;

/* Hours until limit_c is reached, 0 when it is there. STATUS_REFUSED when it never is: the sentence says
 * where the tank settles. */
enum status heat_time_to(double t0_c, double ambient_c, double tau_h, double limit_c, double *hours,
                         struct why *why) LENTIC_CHECKED;

#endif
