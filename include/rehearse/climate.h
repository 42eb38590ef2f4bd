/* The air of the simulated room: heated with a night setback, swayed by sun, weather and lights, now and then
 * an open window. First-order: the air goes towards what the moment would settle at. Figures are invented for
 * a cellar-like fish room in a temperate winter. */
#ifndef LENTIC_REHEARSE_CLIMATE_H
#define LENTIC_REHEARSE_CLIMATE_H

#include <stdbool.h>
#include "rehearse/dice.h"

struct climate {
    double day_c;        /* held by day */
    double setback_k;    /* less by night */
    double sun_k;        /* half of the day's swing, warmest at 15 h */
    double lights_k;     /* added while the lights are on */
    double weather_sd_k; /* slow drift, 2 days of memory */
    double window_a_day; /* openings a day, by day only */
    double window_k;     /* how much colder the air would settle */
    double humidity;     /* 0..1 */
    double pushed_k;     /* by a fault: room cold (< 0) or hot */

    double weather_k, window_left_s;
    double temp_c;
    struct dice dice;
};

/* Starts settled. day_c: what the room is held at by day. */
struct climate climate_init(uint64_t seed, double day_c);

/* hour: of the day, 0 <= hour < 24, at the end of the step. dt_s > 0, at most some minutes at once. */
void climate_advance(struct climate *c, double hour, bool lights_on, double dt_s);

/* Saturation pressure of water vapour, hPa (Magnus form, Sonntag 1990; -45..60 degrees, 0.4 %). */
double climate_vapour_hpa(double temp_c);

#endif
