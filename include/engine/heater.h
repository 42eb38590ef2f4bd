/* What a tank's own history tells about its heater, and the judgement from it.
 *
 * Learnt from the last two days of 5 min means: the band in which the thermostat holds the tank, how fast it
 * falls with the heater off and rises with it on, and the free-cooling time constant where the room is
 * measured. The power that the heater gives is inferred from dT/dt, tau and room (Newton), as a share of what
 * would hold the temperature. */
#ifndef LENTIC_ENGINE_HEATER_H
#define LENTIC_ENGINE_HEATER_H

#include "base/pack.h"
#include "engine/window.h"
#include "model/site.h"

struct heater {
    double band_lo_c, band_hi_c; /* NaN: not yet learnt */
    double off_c_h;              /* usual slope with the heater off, negative; NaN */
    double on_c_h;               /* usual slope with it on, positive; NaN */
    double tau_h;                /* NaN */
    double learnt_h;             /* hours of history behind it */
    utc_t learnt_at;
    int32_t below_min, above_min; /* minutes in a row that speak for "dead" and "stuck" */
    int32_t weak_min;
    int32_t cause; /* enum heater_cause, last judged */
};

enum heater_cause { HEATER_UNKNOWN, HEATER_FINE, HEATER_DEAD, HEATER_STUCK, HEATER_WEAK };

struct heater_view {
    double temp_c;               /* mean of the last minutes */
    double slope_c_h;            /* over the last 40 min; NaN */
    double free_c_h;             /* what it would be without heat now; NaN */
    double share;                /* inferred heat as a share of what would hold the temperature; NaN */
    double band_lo_c, band_hi_c; /* learnt, or from the setpoint while not learnt; NaN */
    double room_c;               /* NaN */
};

void heater_init(struct heater *h);

/* To be called about once an hour, not while something is wrong with the tank. */
void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now);

/* Forget: the tank was changed. */
void heater_unlearn(struct heater *h);

/* room NULL: not measured. */
void heater_look(const struct heater *h, const struct tank *tank, const struct window *temp,
                 const struct window *room, utc_t now, struct heater_view *out);

/* Once a minute. Needs the evidence for some minutes in a row before it changes its mind. */
enum heater_cause heater_judge(struct heater *h, const struct heater_view *view);

void heater_visit(struct heater *h, struct pack *p);

#endif
