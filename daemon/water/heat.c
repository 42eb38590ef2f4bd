#include "water/heat.h"
#include "water/range.h"

#include <math.h>

double heat_capacity_j_k(double volume_l, double glass_kg)
{
    return 4186.0 * volume_l + 840.0 * glass_kg;
}

double heat_settles_c(double room_c, double heater_w, double capacity_j_k, double tau_h)
{
    return room_c + heater_w * tau_h * 3600.0 / capacity_j_k;
}

static enum status check(double t0_c, double ambient_c, double tau_h, struct why *why)
{
    enum status st = range_check(why, "start temperature", t0_c, -20.0, 60.0, "°C");
    if (st == STATUS_OK)
        st = range_check(why, "room temperature", ambient_c, -20.0, 200.0, "°C");
    if (st == STATUS_OK)
        st = range_check(why, "tau", tau_h, 0.01, 1000.0, "h");
    return st;
}

enum status heat_after(double t0_c, double ambient_c, double tau_h, double hours, double *temp_c,
                       struct why *why)
{
    enum status st = check(t0_c, ambient_c, tau_h, why);
    if (st == STATUS_OK)
        st = range_check(why, "hours", hours, 0.0, 1e6, "h");
    if (st == STATUS_OK)
        *temp_c = ambient_c + (t0_c - ambient_c) * exp(-hours / tau_h);
    return st;
}

enum status heat_time_to(double t0_c, double ambient_c, double tau_h, double limit_c, double *hours,
                         struct why *why)
{
    enum status st = check(t0_c, ambient_c, tau_h, why);
    if (st == STATUS_OK)
        st = range_check(why, "limit", limit_c, -20.0, 60.0, "°C");
    if (st != STATUS_OK)
        return st;
    if (limit_c == t0_c) {
        *hours = 0.0;
        return STATUS_OK;
    }
    double ratio = (t0_c - ambient_c) / (limit_c - ambient_c);
    if (!(ratio > 1.0) || isinf(ratio))
        return why_say(why, STATUS_REFUSED,
                       "%.4g °C is never reached: from %.4g °C the water settles at %.4g °C", limit_c, t0_c,
                       ambient_c);
    *hours = tau_h * log(ratio);
    return STATUS_OK;
}
