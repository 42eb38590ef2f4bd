/* When a value that moves reaches a limit. The change of a tank towards where it settles is exponential
 * (Newton), of anything else straight on:
 *
 *   v(t) = v + s tau (1 - exp(-t / tau)),   without tau   v(t) = v + s t
 *
 * with the slope s of now. The earliest is a slope by 1.28 standard deviations steeper that goes straight on,
 * the latest one as much flatter that bends: four of five normally distributed errors lie between. */
#ifndef LENTIC_ENGINE_APPROACH_H
#define LENTIC_ENGINE_APPROACH_H

#include "engine/window.h"
#include "model/forecast.h"
#include "model/site.h"

struct approach_slope {
    double value;           /* now, by the fit */
    double per_h, sd_per_h; /* NaN: not known */
};

/* Straight line through the means of the bins in (to - span_ms, to], with what their scatter leaves open.
 * Fewer than four bins: NaN. */
struct approach_slope approach_slope_of(const struct window *w, utc_t to, int64_t span_ms);

struct approach_hours {
    double at, early, late; /* late INFINITY: perhaps never */
};

/* False: it does not move towards the limit, or by no more than its doubt, is there already, or settles
 * before. tau_h NaN: straight on. */
bool approach_when(const struct approach_slope *s, double tau_h, double limit, struct approach_hours *out);

/* The same in a room that is measured: Newton's law with the heat that is given now kept up,
 *
 *   dv/dt = heat - (v - room(t)) / tau,   heat = s + (v - room(now)) / tau
 *
 * and the room of the same hours of the days before, moved by what it differs from them now, a difference
 * that fades within hours. Earliest and latest: the slope by 1.28 standard deviations and the room by
 * APPROACH_ROOM_SD_C on either side. Looks most_h ahead; beyond is never. */
#define APPROACH_ROOM_SD_C 0.6
bool approach_in_room(const struct approach_slope *s, double tau_h, const struct window *room, utc_t now,
                      double limit, double most_h, struct approach_hours *out);

void approach_visit(struct forecast *f, const struct site *site, struct pack *p);

#endif
