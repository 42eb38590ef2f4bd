/* What a tank's own history tells about its heater, and the judgement from it.
 *
 * Learnt (heater_learn.h): where the thermostat switches on and off and how exactly, the time constant of
 * free cooling, how fast the heater heats (K/h, losses taken off). From the last minutes: level and slope of
 * the water, and with Newton's law the heat given now. A healthy heater gives heat when the water stands
 * under the switching point by more than that ever strays, and none above the other. */
#ifndef LENTIC_ENGINE_HEATER_H
#define LENTIC_ENGINE_HEATER_H

#include "engine/minutes.h"
#include "engine/window.h"
#include "model/site.h"

struct heater {
    struct minutes recent;
    double volume_l, heater_w, setpoint_c; /* of the tank that was learnt; another tank is learnt afresh */
    double tau_guess_h, rated_c_h;         /* by its size, lid and power, anew at every look */

    double band_lo_c, band_hi_c;  /* where it switches on and off; NaN: not yet learnt */
    double lo_sd_c, hi_sd_c;      /* how far these stray */
    double lo_least_c, hi_most_c; /* the farthest of the last two days; while not learnt, of
                                     where heat began and ended by itself */
    bool heating_seen;            /* the heater was seen to work at the lower edge */
    double off_c_h;               /* usual slope with the heater off, negative; NaN */
    double full_c_h;              /* heat rate with the heater on; NaN */
    double tau_h;                 /* NaN */
    double other_c_h[24];         /* what lamps, sun and shelf add at that hour of the day (UTC); NaN */
    double learnt_h;              /* hours of history behind it */
    utc_t learnt_at;
    utc_t trouble_at; /* the last minute of a fault: nothing up to it is learnt from */
    utc_t refuted_at; /* it went against what it was called, or somebody saw to it */

    utc_t disturbed_until;                 /* water was changed */
    utc_t heating_at;                      /* last minute that it gave heat */
    utc_t idle_since;                      /* first minute without heat though it should give some */
    bool heating, broke_off;               /* it gave heat; and stopped short of the switching point */
    bool began_above;                      /* and began to when the water was over the band already */
    bool called;                           /* the water stood under the switching point since */
    int32_t under_min;                     /* minutes under the switching point */
    double under_heat_c_h, under_loss_c_h; /* in the last hour of them: heat given, and what would hold */
    double called_heat_c_h;                /* heat given on the average over called_min */
    int32_t called_min; /* minutes at the switching point or little above, with little heat */
    int32_t dead_min, stuck_min, weak_min; /* minutes that speak for it */
    int32_t held_min;                      /* that it was called dead and not told: it may be its circuit */
    int32_t cause;                         /* enum heater_cause, last judged */
};

enum heater_cause { HEATER_UNKNOWN, HEATER_FINE, HEATER_DEAD, HEATER_STUCK, HEATER_WEAK };

struct heater_view {
    double temp_c;    /* mean of the last minutes */
    double slope_c_h; /* of as many minutes as the heater needs to show itself; NaN */
    bool rises_evenly;
    double free_c_h;  /* what it would be without heat now; NaN */
    double lamps_c_h; /* of that by lamps and the like, which a lost circuit takes along; at least 0 */
    double heat_c_h;  /* heat given now; NaN */
    double full_c_h;  /* heat when it is on: learnt, or by its rating; NaN */
    double share;     /* heat now of that; of what holds the temperature while that is not known; NaN */
    double band_lo_c, band_hi_c; /* learnt, or from the setpoint while not learnt; NaN */
    double below, above;         /* how far out of it, in the spreads of its edges; NaN */
    struct span turns_c;         /* the coldest and the warmest of the last while; NaN */
    double room_c;               /* NaN */
    bool unpowered;              /* measured: its plug gives too little for it. The caller fills it in */
    double least_c, most_c;      /* what the animals bear; NaN. The caller fills it in */
    int32_t minutes;             /* that the slope was taken over */
};

void heater_init(struct heater *h);

/* A reading of the water. Late ones are passed over. */
void heater_feed(struct heater *h, double temp_c, utc_t t);
/* The probe was calibrated: what was learnt moves along. */
void heater_shift(struct heater *h, double gain, double offset);

/* Starts afresh when the tank's volume, heater or setpoint is another one now. room NULL: not measured. */
void heater_look(struct heater *h, const struct tank *tank, const struct window *room, utc_t now,
                 struct heater_view *out);

/* Once a minute. Needs the evidence for some minutes before it changes its mind. */
enum heater_cause heater_judge(struct heater *h, const struct heater_view *view, utc_t now);

/* It began to heat although it was called dead, or paused although it was called stuck. Once, somebody may
 * have seen to it; twice within three days, what was learnt is wrong: it is learnt afresh. */
void heater_refute(struct heater *h, utc_t now);
bool heater_refuted_lately(const struct heater *h, utc_t now); /* once */

/* No heat, though it should give some: how strongly the minutes speak against a healthy heater, in spreads;
 * 0 when they do not. */
double heater_idles(const struct heater *h, const struct heater_view *view);
/* That a healthy one, seen at any moment, gives no heat now and gave none since the last time: its pauses are
 * as long as its band takes to cool. 1 where that cannot be told. */
double heater_chance_of_silence(const struct heater *h, const struct heater_view *view, utc_t now);
bool heater_gives(const struct heater_view *view);
bool heater_is_off(const struct heater_view *view);

void heater_visit(struct heater *h, struct pack *p);

#endif
