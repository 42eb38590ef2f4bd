#include "water/ammonia.h"
#include "water/activity.h"
#include "water/range.h"

#include <math.h>

enum status ammonia_pka(double temp_c, double *pka, struct why *why)
{
    enum status st = range_check(why, "temperature", temp_c, 0.0, 50.0, "°C");
    if (st == STATUS_OK)
        *pka = 0.09018 + 2729.92 / (temp_c + KELVIN_OFFSET);
    return st;
}

static enum status share(double ph, double temp_c, double g1, double *fraction, struct why *why)
{
    double pka;
    enum status st = range_check(why, "pH", ph, 4.0, 12.0, "");
    if (st == STATUS_OK)
        st = ammonia_pka(temp_c, &pka, why);
    if (st == STATUS_OK)
        *fraction = 1.0 / (1.0 + pow(10.0, pka - ph) / g1);
    return st;
}

enum status ammonia_fraction(double ph, double temp_c, double *fraction, struct why *why)
{
    return share(ph, temp_c, 1.0, fraction, why);
}

enum status ammonia_fraction_corrected(double ph, double temp_c, double ec25_us_cm, double *fraction,
                                       struct why *why)
{
    enum status st = range_check(why, "conductivity", ec25_us_cm, 0.0, 20000.0, "µS/cm");
    if (st != STATUS_OK)
        return st;
    return share(ph, temp_c, activity_coefficient(1, activity_ionic_strength(ec25_us_cm), temp_c), fraction,
                 why);
}
