#include "water/carbonate.h"
#include "water/activity.h"
#include "water/range.h"

#include <math.h>

#define EQ_PER_L_PER_DH  0.356652e-3
#define MOL_PER_L_PER_DH 0.178326e-3
#define CO2_MG_PER_MOL   44010.0
#define HCO3_MG_PER_MOL  61017.0

struct carbonate_constants carbonate_constants_at(double temp_c)
{
    double t = temp_c + KELVIN_OFFSET;
    double log_t = log10(t);
    double k1 = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * log_t - 1684915.0 / (t * t);
    double k2 = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * log_t - 563713.9 / (t * t);
    double ksp = -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log_t;
    double kw = -283.971 - 0.05069842 * t + 13323.0 / t + 102.24447 * log_t - 1119669.0 / (t * t);
    return (struct carbonate_constants){ pow(10, k1), pow(10, k2), pow(10, kw), pow(10, ksp) };
}

static enum status check(double ph, double kh_dh, double temp_c, double ec25_us_cm, struct why *why)
{
    enum status st = range_check(why, "pH", ph, 4.0, 11.0, "");
    if (st == STATUS_OK)
        st = range_check(why, "carbonate hardness", kh_dh, 0.0, 60.0, "°dH");
    if (st == STATUS_OK)
        st = range_check(why, "temperature", temp_c, 0.0, 50.0, "°C");
    if (st == STATUS_OK)
        st = range_check(why, "conductivity", ec25_us_cm, 0.0, 20000.0, "µS/cm");
    return st;
}

enum status carbonate_solve(double ph, double kh_dh, double temp_c, double ec25_us_cm, struct carbonate *out,
                            struct why *why)
{
    enum status st = check(ph, kh_dh, temp_c, ec25_us_cm, why);
    if (st != STATUS_OK)
        return st;
    struct carbonate_constants k = carbonate_constants_at(temp_c);
    double strength = activity_ionic_strength(ec25_us_cm);
    double g1 = activity_coefficient(1, strength, temp_c);
    double g2 = activity_coefficient(2, strength, temp_c);
    double a_h = pow(10.0, -ph);
    double hydrogen = a_h / g1;
    double hydroxide = k.kw / (a_h * g1);
    double carbon_alkalinity = kh_dh * EQ_PER_L_PER_DH + hydrogen - hydroxide;
    if (carbon_alkalinity < 0.0)
        return why_say(
            why, STATUS_REFUSED,
            "pH %.4g needs a carbonate hardness of at least %.3g °dH for its hydroxide alone; %.4g is less: "
            "measure both again",
            ph, (hydroxide - hydrogen) / EQ_PER_L_PER_DH, kh_dh);
    double hco3 = carbon_alkalinity / (1.0 + 2.0 * k.k2 * g1 / (g2 * a_h));
    out->co2_mg_l = CO2_MG_PER_MOL * a_h * hco3 * g1 / k.k1;
    out->hco3_mg_l = HCO3_MG_PER_MOL * hco3;
    out->co3_activity = k.k2 * g1 * hco3 / a_h;
    return STATUS_OK;
}

enum status carbonate_calcite_index(double ph, double kh_dh, double ca_dh, double temp_c, double ec25_us_cm,
                                    double *index, struct why *why)
{
    struct carbonate c;
    enum status st = range_check(why, "calcium", ca_dh, 0.0, 100.0, "°dH");
    if (st == STATUS_OK)
        st = carbonate_solve(ph, kh_dh, temp_c, ec25_us_cm, &c, why);
    if (st != STATUS_OK)
        return st;
    if (ca_dh <= 0.0 || c.co3_activity <= 0.0)
        return why_say(why, STATUS_INVALID, "water without calcium or carbonate has no saturation index");
    double g2 = activity_coefficient(2, activity_ionic_strength(ec25_us_cm), temp_c);
    double product = g2 * ca_dh * MOL_PER_L_PER_DH * c.co3_activity;
    *index = log10(product / carbonate_constants_at(temp_c).ksp_calcite);
    return STATUS_OK;
}
