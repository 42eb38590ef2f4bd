/* Values that follow from others, with the time and flag of their weakest input and an honest uncertainty.
 * What lacks an input is left out: a number that looks right would be worse. */
#include "engine/state.h"

#include <math.h>

#include "model/recipe.h"
#include "water/ammonia.h"
#include "water/carbonate.h"
#include "water/conductivity.h"
#include "water/oxygen.h"

/* Solids per conductivity of mineral mixes run from 0.42 to 0.91: the usual middle is good to a fifth. */
#define TDS_USUAL_FACTOR    0.64
#define TDS_SD_USUAL        0.20
#define TDS_SD_WATER        0.03
#define TDS_SD_RECIPE       0.05
#define PROBE_OLD_MS        (6 * MS_PER_HOUR)
#define PH_SD               0.1  /* a calibrated meter between two calibrations */
#define HAND_KH_SD          0.5  /* one drop of a titration test */
#define EC_MODEL_SD         0.03 /* half of the 6 % of the ionic model */
#define EC_PROBE_SD         0.03
#define OTHER_SOLIDS_SD     0.10 /* what animals, food and plants add to or take from the recipe */
#define TARGETS_SD          0.05 /* targets are rounder than weighed salts */
#define ACIDS_KH_SD         0.5  /* nitrification takes carbonate: 10 mg/L of nitrate about 0.9 dH */
#define SWING_LEAST_BINS    72   /* six hours of 5 min: less is no day */
#define CA_MG_L_PER_DH      (40.078 * 0.178326)
#define TEMP_SD             0.3
#define OXYGEN_PRESSURE_REL 0.015 /* weather */

static void weaken(struct value_report *out, const struct value_report *input)
{
    static const int rank[] = { [FLAG_NONE] = 0,    [FLAG_GOOD] = 1, [FLAG_NOT_EVALUATED] = 2,
                                [FLAG_SUSPECT] = 3, [FLAG_FAIL] = 4, [FLAG_MISSING] = 5 };
    if (!utc_is_set(out->t) || input->t.ms < out->t.ms)
        out->t = input->t;
    if (rank[input->flag] > rank[out->flag])
        out->flag = input->flag;
    out->stale = out->stale || input->stale;
}

static void put(struct tank_report *r, enum derived d, double value, double sd,
                const struct value_report *const *inputs)
{
    struct value_report *out = &r->derived[d];
    out->value = value;
    out->origin = ORIGIN_DERIVED;
    r->derived_sd[d] = sd;
    for (; *inputs != NULL; inputs++)
        weaken(out, *inputs);
}

#define INPUTS(...)                                                                                          \
    (const struct value_report *const[])                                                                     \
    {                                                                                                        \
        __VA_ARGS__, NULL                                                                                    \
    }

const struct value_report *derive_input(const struct tank_report *r, enum quantity q)
{
    const struct value_report *v = &r->values[q];
    if (v->origin == ORIGIN_NONE || isnan(v->value))
        return NULL;
    if (v->origin == ORIGIN_HAND)
        return v->stale ? NULL : v;
    return v->stale && r->t.ms - v->t.ms > PROBE_OLD_MS ? NULL : v;
}

/* Measured, or else by the recipe. */
static const struct value_report *hardness(const struct tank_report *r, enum quantity q,
                                           enum derived estimate, double *sd)
{
    const struct value_report *v = derive_input(r, q);
    *sd = v != NULL ? HAND_KH_SD : r->derived_sd[estimate];
    if (v == NULL && r->derived[estimate].origin != ORIGIN_NONE)
        v = &r->derived[estimate];
    return v;
}

/* The recipe, stronger or weaker, that has the measured conductivity. */
static void derive_recipe(const struct engine *e, struct tank_report *r)
{
    const struct value_report *ec = derive_input(r, Q_EC);
    int water = e->site->tanks[r->tank].water;
    struct recipe_water w;
    double strength;
    if (ec == NULL || recipe_strength(e->site, water, ec->value, &strength) != STATUS_OK ||
        recipe_eval(e->site, water, strength, &w) != STATUS_OK)
        return;
    double relative = sqrt(EC_MODEL_SD * EC_MODEL_SD + EC_PROBE_SD * EC_PROBE_SD +
                           OTHER_SOLIDS_SD * OTHER_SOLIDS_SD + (w.by_targets ? TARGETS_SD * TARGETS_SD : 0));
    put(r, DERIVED_GH_EST, w.gh_dh, fmax(relative * w.gh_dh, 0.1), INPUTS(ec));
    put(r, DERIVED_KH_EST, w.kh_dh, hypot(relative * w.kh_dh, ACIDS_KH_SD), INPUTS(ec));
}

static double recipe_factor(const struct engine *e, int water)
{
    struct recipe_water w;
    return recipe_eval(e->site, water, 1.0, &w) == STATUS_OK && w.ec_us_cm > 0 ? w.tds_mg_l / w.ec_us_cm
                                                                               : NAN;
}

static void derive_tds(const struct engine *e, struct tank_report *r)
{
    static const double sd[] = { TDS_SD_USUAL, TDS_SD_WATER, TDS_SD_RECIPE };
    const struct value_report *ec = derive_input(r, Q_EC);
    int water = e->site->tanks[r->tank].water;
    if (ec == NULL)
        return;
    r->tds_factor_from = TDS_FACTOR_WATER;
    r->tds_factor = water < 0 ? NAN : e->site->waters[water].tds_per_ec;
    if (isnan(r->tds_factor)) {
        r->tds_factor_from = TDS_FACTOR_RECIPE;
        r->tds_factor = recipe_factor(e, water);
    }
    if (isnan(r->tds_factor)) {
        r->tds_factor_from = TDS_FACTOR_USUAL;
        r->tds_factor = TDS_USUAL_FACTOR;
    }
    double tds = conductivity_tds(ec->value, r->tds_factor);
    put(r, DERIVED_TDS, tds, hypot(sd[r->tds_factor_from], EC_PROBE_SD) * tds, INPUTS(ec));
}

static double co2_of(double ph, double kh, double temp_c, double ec)
{
    struct carbonate c;
    return carbonate_solve(ph, kh, temp_c, ec, &c, NULL) == STATUS_OK ? c.co2_mg_l : NAN;
}

/* How far the result moves when one input moves by its own uncertainty; NaN steps (out of range) do not
 * count. */
static double reach(double centre, double a, double b)
{
    double up = isnan(a) ? 0 : fabs(a - centre), down = isnan(b) ? 0 : fabs(b - centre);
    return fmax(up, down);
}

static void derive_co2(struct tank_report *r)
{
    double kh_sd;
    const struct value_report *ph = derive_input(r, Q_PH), *temp = derive_input(r, Q_TEMP),
                              *ec = derive_input(r, Q_EC), *kh = hardness(r, Q_KH, DERIVED_KH_EST, &kh_sd);
    if (ph == NULL || temp == NULL || ec == NULL || kh == NULL)
        return;
    double co2 = co2_of(ph->value, kh->value, temp->value, ec->value);
    if (isnan(co2))
        return;
    double by_ph = reach(co2, co2_of(ph->value + PH_SD, kh->value, temp->value, ec->value),
                         co2_of(ph->value - PH_SD, kh->value, temp->value, ec->value));
    double by_kh = reach(co2, co2_of(ph->value, kh->value + kh_sd, temp->value, ec->value),
                         co2_of(ph->value, fmax(kh->value - kh_sd, 0), temp->value, ec->value));
    put(r, DERIVED_CO2, co2, sqrt(by_ph * by_ph + by_kh * by_kh + 0.0009 * co2 * co2),
        INPUTS(ph, temp, ec, kh));
}

/* Carbon dioxide follows the pH through the day; the carbonate hardness stays. The bins' means keep single
 * odd readings out. */
static void derive_swing(const struct engine *e, struct tank_report *r)
{
    double kh_sd;
    const struct value_report *ph = derive_input(r, Q_PH), *temp = derive_input(r, Q_TEMP),
                              *ec = derive_input(r, Q_EC), *kh = hardness(r, Q_KH, DERIVED_KH_EST, &kh_sd);
    int stream = speaking_stream(e, e->site->tanks[r->tank].place, Q_PH);
    if (r->derived[DERIVED_CO2].origin == ORIGIN_NONE || ph->origin != ORIGIN_PROBE)
        return;
    const struct window *day = &e->streams[stream].day;
    struct window_range range = window_range(day, ph->t, MS_PER_DAY);
    if (range.bins < SWING_LEAST_BINS)
        return;
    double most = co2_of(window_mean(window_at(day, range.lo_at)), kh->value, temp->value, ec->value);
    double least = co2_of(window_mean(window_at(day, range.hi_at)), kh->value, temp->value, ec->value);
    if (isnan(most) || isnan(least) || most < least)
        return;
    double relative = r->derived_sd[DERIVED_CO2] / r->derived[DERIVED_CO2].value;
    put(r, DERIVED_CO2_SWING, most - least, relative * (most - least), INPUTS(ph, temp, ec, kh));
    r->derived[DERIVED_CO2].day_lo = least;
    r->derived[DERIVED_CO2].day_hi = most;
}

double derive_saturation(const struct site *site, double temp_c, double ec25_us_cm)
{
    double hpa, saturation;
    if (oxygen_pressure_at(site->altitude_m, &hpa, NULL) != STATUS_OK ||
        oxygen_saturation(temp_c, hpa, isnan(ec25_us_cm) ? 0 : ec25_us_cm, &saturation, NULL) != STATUS_OK)
        return NAN;
    return saturation;
}

/* Salts of fresh water change it by less than 0.05 mg/L: not worth waiting for. */
static void derive_oxygen(const struct engine *e, struct tank_report *r)
{
    const struct value_report *temp = derive_input(r, Q_TEMP), *ec = derive_input(r, Q_EC);
    if (temp == NULL)
        return;
    double salts = ec == NULL ? NAN : ec->value;
    double saturation = derive_saturation(e->site, temp->value, salts);
    if (isnan(saturation))
        return;
    double by_temp = reach(saturation, derive_saturation(e->site, temp->value + TEMP_SD, salts), NAN);
    put(r, DERIVED_OXYGEN_SAT, saturation, hypot(by_temp, OXYGEN_PRESSURE_REL * saturation), INPUTS(temp));
}

static double nh3_of(double tan, double ph, double temp_c)
{
    double fraction;
    return ammonia_fraction(ph, temp_c, &fraction, NULL) == STATUS_OK ? tan * fraction : NAN;
}

static void derive_nh3(struct tank_report *r)
{
    const struct value_report *tan = derive_input(r, Q_TAN), *ph = derive_input(r, Q_PH),
                              *temp = derive_input(r, Q_TEMP);
    if (tan == NULL || ph == NULL || temp == NULL)
        return;
    double nh3 = nh3_of(tan->value, ph->value, temp->value);
    if (isnan(nh3))
        return;
    double by_ph = reach(nh3, nh3_of(tan->value, ph->value + PH_SD, temp->value), NAN);
    double by_tan =
        reach(nh3, nh3_of(tan->value + quantity_info(Q_TAN)->reading_sd, ph->value, temp->value), NAN);
    put(r, DERIVED_NH3, nh3, hypot(by_ph, by_tan), INPUTS(tan, ph, temp));
}

static double index_of(double ph, double kh, double ca_dh, double temp_c, double ec)
{
    double index;
    return carbonate_calcite_index(ph, kh, ca_dh, temp_c, ec, &index, NULL) == STATUS_OK ? index : NAN;
}

static void derive_calcite(struct tank_report *r)
{
    double kh_sd;
    const struct value_report *ph = derive_input(r, Q_PH), *temp = derive_input(r, Q_TEMP),
                              *ec = derive_input(r, Q_EC), *ca = derive_input(r, Q_CA),
                              *kh = hardness(r, Q_KH, DERIVED_KH_EST, &kh_sd);
    if (ph == NULL || temp == NULL || ec == NULL || kh == NULL || ca == NULL)
        return;
    double ca_dh = ca->value / CA_MG_L_PER_DH;
    double index = index_of(ph->value, kh->value, ca_dh, temp->value, ec->value);
    if (isnan(index))
        return;
    double by_kh = reach(index, index_of(ph->value, kh->value + kh_sd, ca_dh, temp->value, ec->value), NAN);
    put(r, DERIVED_CALCITE_SI, index, sqrt(PH_SD * PH_SD + 0.01 + by_kh * by_kh),
        INPUTS(ph, temp, ec, ca, kh));
}

void derive_report(const struct engine *e, struct tank_report *r)
{
    derive_recipe(e, r);
    derive_tds(e, r);
    derive_co2(r);
    derive_swing(e, r);
    derive_oxygen(e, r);
    derive_nh3(r);
    derive_calcite(r);
}
