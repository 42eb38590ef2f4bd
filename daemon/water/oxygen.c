#include "water/oxygen.h"
#include "water/activity.h"
#include "water/range.h"

#include <math.h>

enum status oxygen_pressure_at(double altitude_m, double *pressure_hpa, struct why *why)
{
    enum status st = range_check(why, "altitude", altitude_m, -430.0, 5500.0, "m");
    if (st == STATUS_OK)
        *pressure_hpa = OXYGEN_PRESSURE_HPA * pow(1.0 - 2.25577e-5 * altitude_m, 5.25588);
    return st;
}

/* mg/L in pure water under 1 atm of moist air. */
static double at_one_atmosphere(double t_k)
{
    return exp(-139.34411 + 1.575701e5 / t_k - 6.642308e7 / (t_k * t_k) + 1.243800e10 / pow(t_k, 3) -
               8.621949e11 / pow(t_k, 4));
}

static double pressure_factor(double temp_c, double t_k, double atm)
{
    double theta = 0.000975 - 1.426e-5 * temp_c + 6.436e-8 * temp_c * temp_c;
    double vapour = exp(11.8571 - 3840.70 / t_k - 216961.0 / (t_k * t_k));
    return (atm - vapour) * (1.0 - theta * atm) / ((1.0 - vapour) * (1.0 - theta));
}

static double salinity_factor(double t_k, double ec25_us_cm)
{
    double salinity = 5.572e-4 * ec25_us_cm + 2.02e-9 * ec25_us_cm * ec25_us_cm;
    return exp(-salinity * (0.017674 - 10.754 / t_k + 2140.7 / (t_k * t_k)));
}

enum status oxygen_saturation(double temp_c, double pressure_hpa, double ec25_us_cm, double *saturation_mg_l,
                              struct why *why)
{
    enum status st = range_check(why, "temperature", temp_c, 0.0, 40.0, "°C");
    if (st == STATUS_OK)
        st = range_check(why, "air pressure", pressure_hpa, 500.0, 1100.0, "hPa");
    if (st == STATUS_OK)
        st = range_check(why, "conductivity", ec25_us_cm, 0.0, 70000.0, "µS/cm");
    if (st != STATUS_OK)
        return st;
    double t_k = temp_c + KELVIN_OFFSET;
    double atm = pressure_hpa / OXYGEN_PRESSURE_HPA;
    *saturation_mg_l =
        at_one_atmosphere(t_k) * pressure_factor(temp_c, t_k, atm) * salinity_factor(t_k, ec25_us_cm);
    return STATUS_OK;
}
