#include "water/conductivity.h"
#include "water/range.h"

#include <math.h>

enum status conductivity_factor_natural(double temp_c, double *factor, struct why *why)
{
    enum status st = range_check(why, "temperature", temp_c, 0.0, 36.0, "°C");
    if (st != STATUS_OK)
        return st;
    const double a = 0.962144, n = 0.965078;
    double viscosity = -0.198058 + exp(-1.992186 + 231.17628 / (temp_c + 86.39123));
    *factor = ((1.0 - a) + a * pow(viscosity, n)) * 1.116;
    return STATUS_OK;
}

enum status conductivity_factor_linear(double temp_c, double alpha_per_c, double *factor, struct why *why)
{
    enum status st = range_check(why, "temperature", temp_c, 0.0, 50.0, "°C");
    if (st == STATUS_OK)
        st = range_check(why, "temperature coefficient", alpha_per_c, 0.0, 0.039, "per °C");
    if (st == STATUS_OK)
        *factor = 1.0 / (1.0 + alpha_per_c * (temp_c - 25.0));
    return st;
}

enum status conductivity_at_25(double ec_us_cm, double temp_c, double alpha_per_c, double *ec25_us_cm,
                               double *factor, struct why *why)
{
    enum status st = range_check(why, "conductivity", ec_us_cm, 0.0, 100000.0, "µS/cm");
    if (st != STATUS_OK)
        return st;
    st = isnan(alpha_per_c) ? conductivity_factor_natural(temp_c, factor, why)
                            : conductivity_factor_linear(temp_c, alpha_per_c, factor, why);
    if (st == STATUS_OK)
        *ec25_us_cm = ec_us_cm * *factor;
    return st;
}

double conductivity_tds(double ec25_us_cm, double factor_mg_l_per_us_cm)
{
    return ec25_us_cm * factor_mg_l_per_us_cm;
}
