/* One tank as physics: water, heat and dissolved solids in balance.
 *
 * Heat: Newton's law as in water/heat.h, exact for each step. Water: evaporation by the vapour pressures of
 * the surface and the air (form of the Dalton law, E = k (pw - pa), k for nearly still air), top-off by a
 * float. Solids are carried as conductivity times litres, which mixing conserves within some 2 %; minerals
 * and waste are kept apart. Overflow and leaks take water as it is. */
#ifndef LENTIC_REHEARSE_BASIN_H
#define LENTIC_REHEARSE_BASIN_H

#include <stdbool.h>

struct basin {
    double full_l; /* where the float holds it */
    double surface_m2;
    double glass_kg;
    double loss_w_k;                 /* to the room */
    double cover;                    /* share of the surface that evaporates: 1 open, about 0.2 with a lid */
    double heater_w;                 /* rated; 0: none */
    double setpoint_c, hysteresis_k; /* on below setpoint - h/2, off above setpoint + h/2 */
    double ph_usual, ph_swing;       /* half of the day's swing by plants and light */

    double temp_c;
    double water_l;
    double mineral_us_l, waste_us_l; /* uS/cm times litres */
    double ph_sway;
    double pulse_s, pulse_at_s; /* > 0: it is on for a share of each span so long, instead of switching */
    bool heating;               /* what the thermostat asks for */
    bool topping;               /* the float asks for water */
    double power_w;             /* what the heater gave in the last step */
};

/* What acts on it during a step. */
struct basin_world {
    double air_c, humidity;
    double heater_gain; /* 1 sound, 0 dead or without mains */
    bool heater_forced; /* contact welded: on whatever the thermostat says */
    bool lights_on;
    double light_w;     /* heat that lamps bring into the water */
    double topoff_l_h;  /* most that the pump of an automatic top-off gives; 0: by hand */
    double topoff_ec;   /* of its water, uS/cm at 25 */
    double overrun_l_h; /* the pump runs without regard to the float */
    double leak_l_h;
    double waste_us_day; /* rise by feeding, uS/cm a day in the full tank */
};

/* Sizes from the volume: a box 1.5 : 1 : 1 of glass. lid: closed over the top. Starts full, at temp_c, with
 * ec25 of minerals. heater_w NaN or 0: none. */
struct basin basin_init(double volume_l, bool lid, double temp_c, double ec25_us_cm, double heater_w,
                        double setpoint_c);

/* Any dt_s >= 0; taken in steps of at most 10 s. */
void basin_advance(struct basin *b, const struct basin_world *w, double dt_s);

/* Takes water as it is; at most what leaves 5 % of the tank. Returns litres taken. */
double basin_draw(struct basin *b, double litres);
/* Adds water; what does not fit (above 1.06 of full) runs over, mixed. */
void basin_fill(struct basin *b, double litres, double ec25_us_cm, double temp_c);

double basin_ec25(const struct basin *b);     /* uS/cm at 25 degrees */
double basin_level_mm(const struct basin *b); /* above the bottom */
double basin_ph(const struct basin *b);
double basin_capacity_j_k(const struct basin *b);
double basin_tau_h(const struct basin *b);
double basin_evaporation_l_h(const struct basin *b, const struct basin_world *w);

#endif
