#include "rehearse/basin.h"

#include <math.h>

#include "rehearse/climate.h"
#include "water/heat.h"

#define STEP_MOST_S     10.0
#define WALL_W_M2_K     8.0  /* glass, still air on both sides of a rack */
#define OPEN_TOP_W_M2_K 18.0 /* radiation, air and the usual evaporation together */
#define LID_TOP_W_M2_K  6.0
#define GLASS_KG_M2     12.5  /* 5 mm */
#define EVAPORATION_K   0.009 /* L per hour, m2 and hPa, nearly still air */
#define LID_COVER       0.2
#define BRIM            1.06
#define DREGS           0.05
#define FLOAT_PLAY      0.003 /* of the full tank */
#define PH_SETTLE_S     (3.0 * 3600)
#define PH_PER_WASTE    0.002 /* acid from rotting food, pH per uS/cm */
#define LITRES_PER_M3   1000.0

struct basin basin_init(double volume_l, bool lid, double temp_c, double ec25_us_cm, double heater_w,
                        double setpoint_c)
{
    double side_m = cbrt(volume_l / LITRES_PER_M3 / 1.5);
    double top_m2 = 1.5 * side_m * side_m;
    double walls_m2 = 6.5 * side_m * side_m; /* four sides and the bottom */
    return (struct basin){
        .full_l = volume_l,
        .surface_m2 = top_m2,
        .glass_kg = walls_m2 * GLASS_KG_M2,
        .loss_w_k = walls_m2 * WALL_W_M2_K + top_m2 * (lid ? LID_TOP_W_M2_K : OPEN_TOP_W_M2_K),
        .cover = lid ? LID_COVER : 1.0,
        .heater_w = heater_w > 0 ? heater_w : 0,
        .setpoint_c = setpoint_c,
        .hysteresis_k = 0.5,
        .ph_usual = 7.0,
        .ph_swing = 0.1,
        .temp_c = temp_c,
        .water_l = volume_l,
        .mineral_us_l = ec25_us_cm * volume_l,
    };
}

double basin_capacity_j_k(const struct basin *b)
{
    return heat_capacity_j_k(b->water_l, b->glass_kg);
}

double basin_tau_h(const struct basin *b)
{
    return basin_capacity_j_k(b) / b->loss_w_k / 3600;
}

double basin_ec25(const struct basin *b)
{
    return (b->mineral_us_l + b->waste_us_l) / b->water_l;
}

double basin_level_mm(const struct basin *b)
{
    return b->water_l / b->surface_m2; /* a litre on a square metre stands a millimetre high */
}

double basin_ph(const struct basin *b)
{
    return b->ph_usual + b->ph_sway - PH_PER_WASTE * b->waste_us_l / b->water_l;
}

double basin_evaporation_l_h(const struct basin *b, const struct basin_world *w)
{
    double pull = climate_vapour_hpa(b->temp_c) - w->humidity * climate_vapour_hpa(w->air_c);
    return pull > 0 ? EVAPORATION_K * b->surface_m2 * b->cover * pull : 0;
}

double basin_draw(struct basin *b, double litres)
{
    double most = b->water_l - DREGS * b->full_l;
    double taken = litres < most ? litres : most;
    if (taken <= 0)
        return 0;
    double keep = 1 - taken / b->water_l;
    b->mineral_us_l *= keep;
    b->waste_us_l *= keep;
    b->water_l -= taken;
    return taken;
}

void basin_fill(struct basin *b, double litres, double ec25_us_cm, double temp_c)
{
    double own_j_k = basin_capacity_j_k(b), new_j_k = heat_capacity_j_k(litres, 0);
    b->temp_c = (own_j_k * b->temp_c + new_j_k * temp_c) / (own_j_k + new_j_k);
    b->water_l += litres;
    b->mineral_us_l += litres * ec25_us_cm;
    if (b->water_l > BRIM * b->full_l)
        (void)basin_draw(b, b->water_l - BRIM * b->full_l);
}

/* Plain: on below the band, off above it. In pulses: the share of the time falls from all of it to none
 * across the band. */
static void regulate(struct basin *b, double dt_s)
{
    double below_top_k = b->setpoint_c + b->hysteresis_k / 2 - b->temp_c;
    b->pulse_at_s = b->pulse_s > 0 ? fmod(b->pulse_at_s + dt_s, b->pulse_s) : 0;
    if (b->pulse_s > 0)
        b->heating = b->pulse_at_s < b->pulse_s * below_top_k / b->hysteresis_k;
    else if (below_top_k > b->hysteresis_k)
        b->heating = true;
    else if (below_top_k < 0)
        b->heating = false;
}

static void advance_heat(struct basin *b, const struct basin_world *w, double dt_s)
{
    regulate(b, dt_s);
    b->power_w = b->heating || w->heater_forced ? b->heater_w * w->heater_gain : 0;
    double watts = b->power_w + (w->lights_on ? w->light_w : 0);
    double settles = w->air_c + watts / b->loss_w_k;
    double seconds = basin_capacity_j_k(b) / b->loss_w_k;
    b->temp_c = settles + (b->temp_c - settles) * exp(-dt_s / seconds);
}

static void advance_water(struct basin *b, const struct basin_world *w, double hours)
{
    /* Vapour leaves the solids behind. */
    double gone = basin_evaporation_l_h(b, w) * hours;
    double most = b->water_l - DREGS * b->full_l;
    if (most > 0)
        b->water_l -= gone < most ? gone : most;
    if (w->leak_l_h > 0)
        (void)basin_draw(b, w->leak_l_h * hours);
    if (b->water_l < b->full_l * (1 - FLOAT_PLAY))
        b->topping = true;
    else if (b->water_l >= b->full_l)
        b->topping = false;
    double added = (w->overrun_l_h + (b->topping ? w->topoff_l_h : 0)) * hours;
    if (added > 0)
        basin_fill(b, added, w->topoff_ec, w->air_c);
}

static void advance_step(struct basin *b, const struct basin_world *w, double dt_s)
{
    advance_heat(b, w, dt_s);
    advance_water(b, w, dt_s / 3600);
    b->waste_us_l += w->waste_us_day * b->full_l * dt_s / 86400;
    double sway = w->lights_on ? b->ph_swing : -b->ph_swing;
    b->ph_sway = sway + (b->ph_sway - sway) * exp(-dt_s / PH_SETTLE_S);
}

void basin_advance(struct basin *b, const struct basin_world *w, double dt_s)
{
    int steps = (int)ceil(dt_s / STEP_MOST_S);
    for (int i = 0; i < steps; i++)
        advance_step(b, w, dt_s / steps);
}
