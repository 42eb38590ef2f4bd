/* What a tank's own history tells about its heater, and the judgement from it.
 *
 * Learnt from the last two days of 5 min means: the band in which the thermostat holds the tank, the time
 * constant of free cooling, and how fast the heater heats (K/h, losses taken off). The heat given now is
 * inferred from dT/dt, tau and room (Newton). The lower edge of the band counts only once the heater was seen
 * working at it: a tank that a warm room keeps above its thermostat says nothing of the thermostat. */
#ifndef LENTIC_ENGINE_HEATER_H
#define LENTIC_ENGINE_HEATER_H

#include "base/pack.h"
#include "engine/window.h"
#include "model/site.h"

struct heater {
    double band_lo_c, band_hi_c; /* NaN: not yet learnt */
    bool heating_seen;           /* the heater worked at the lower edge */
    double off_c_h;              /* usual slope with the heater off, negative; NaN */
    double full_c_h;             /* heat rate with the heater on; NaN */
    double tau_h;                /* NaN */
    double learnt_h;             /* hours of history behind it */
    utc_t learnt_at;
    utc_t trouble_at;                      /* the last minute of a fault: nothing up to it is learnt from */
    utc_t disturbed_until;                 /* a step faster than any heater or room: water was changed */
    int32_t dead_min, stuck_min, weak_min; /* minutes that speak for it */
    int32_t cause;                         /* enum heater_cause, last judged */
};

enum heater_cause { HEATER_UNKNOWN, HEATER_FINE, HEATER_DEAD, HEATER_STUCK, HEATER_WEAK };

struct heater_view {
    double temp_c;    /* mean of the last minutes */
    double slope_c_h; /* over the last half hour; NaN */
    double free_c_h;  /* what it would be without heat now, negative; NaN */
    double heat_c_h;  /* heat given now; NaN */
    double share; /* the same as a share of what would hold the temperature; NaN when the room is as warm */
    double band_lo_c, band_hi_c; /* learnt, or from the setpoint while not learnt; NaN */
    double room_c;               /* NaN */
};

void heater_init(struct heater *h);

/* To be called about once an hour, not while something is wrong with the tank. */
void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now);

/* room NULL: not measured. Also notices steps (disturbed_until). */
void heater_look(struct heater *h, const struct tank *tank, const struct window *temp,
                 const struct window *room, utc_t now, struct heater_view *out);

/* Once a minute. Needs the evidence for some minutes in a row before it changes its mind. */
enum heater_cause heater_judge(struct heater *h, const struct heater_view *view, utc_t now);

/* Early sign that a group may share: under the band by little, and no heat. */
bool heater_sinks(const struct heater *h, const struct heater_view *view);

void heater_visit(struct heater *h, struct pack *p);

#endif
