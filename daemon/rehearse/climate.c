#include "rehearse/climate.h"

#include <math.h>

#define PI          3.14159265358979323846
#define SETTLE_S    (1.5 * 3600)
#define WINDOW_S    (0.4 * 3600) /* moving air settles faster */
#define WEATHER_S   (2.0 * 86400)
#define NIGHT_FROM  22.0
#define NIGHT_TO    6.0
#define WARMEST     15.0
#define DAY_SECONDS 86400.0

struct climate climate_init(uint64_t seed, double day_c)
{
    struct climate c = {
        .day_c = day_c,
        .setback_k = 1.5,
        .sun_k = 0.7,
        .lights_k = 0.5,
        .weather_sd_k = 0.5,
        .window_a_day = 0.3,
        .window_k = 5.0,
        .humidity = 0.5,
        .temp_c = day_c,
        .dice = dice_init(seed, "climate", 0),
    };
    c.weather_k = dice_normal(&c.dice, 0, c.weather_sd_k);
    return c;
}

static bool is_night(double hour)
{
    return hour >= NIGHT_FROM || hour < NIGHT_TO;
}

static double settles_at(const struct climate *c, double hour, bool lights_on)
{
    double t = c->day_c + c->weather_k + c->pushed_k;
    t += c->sun_k * cos((hour - WARMEST) * PI / 12);
    if (is_night(hour))
        t -= c->setback_k;
    if (lights_on)
        t += c->lights_k;
    if (c->window_left_s > 0)
        t -= c->window_k;
    return t;
}

static void open_window(struct climate *c, double hour, double dt_s)
{
    c->window_left_s -= dt_s;
    double share_of_day = (NIGHT_FROM - NIGHT_TO) / 24;
    double chance = c->window_a_day * dt_s / (DAY_SECONDS * share_of_day);
    if (c->window_left_s <= 0 && !is_night(hour) && dice_chance(&c->dice, chance))
        c->window_left_s = dice_between(&c->dice, 5 * 60, 40 * 60);
}

void climate_advance(struct climate *c, double hour, bool lights_on, double dt_s)
{
    double keep = exp(-dt_s / WEATHER_S);
    c->weather_k = keep * c->weather_k + dice_normal(&c->dice, 0, c->weather_sd_k * sqrt(1 - keep * keep));
    open_window(c, hour, dt_s);
    double target = settles_at(c, hour, lights_on);
    double pace = c->window_left_s > 0 ? WINDOW_S : SETTLE_S;
    c->temp_c = target + (c->temp_c - target) * exp(-dt_s / pace);
}

double climate_vapour_hpa(double temp_c)
{
    return 6.112 * exp(17.62 * temp_c / (243.12 + temp_c));
}
