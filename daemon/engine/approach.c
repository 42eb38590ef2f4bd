#include "engine/approach.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define BINS_MOST   80
#define BINS_LEAST  4
#define SDS         1.28 /* four of five */
#define LEAST_SHARE 0.10 /* of the time, to either side: no model is better */
#define LEAST_H     (5.0 / 60)

/* Sums of a straight line through points, their times taken from the newest on. */
struct line {
    int n;
    double t[BINS_MOST], v[BINS_MOST];
};

static void gather(const struct window *w, utc_t to, int64_t span_ms, struct line *line)
{
    line->n = 0;
    if (!utc_is_set(to))
        return;
    for (int64_t ms = to.ms; ms > to.ms - span_ms && line->n < BINS_MOST; ms -= w->bin_ms) {
        const struct window_bin *bin = window_at(w, (utc_t){ ms });
        if (bin == NULL)
            continue;
        line->t[line->n] =
            ((double)(bin->index * w->bin_ms - to.ms) + (double)w->bin_ms / 2) / (double)MS_PER_HOUR;
        line->v[line->n++] = window_mean(bin);
    }
}

struct approach_slope approach_slope_of(const struct window *w, utc_t to, int64_t span_ms)
{
    struct line line;
    struct approach_slope s = { NAN, NAN, NAN };
    double t_mean = 0, v_mean = 0, tt = 0, tv = 0, left = 0;
    gather(w, to, span_ms, &line);
    if (line.n < BINS_LEAST)
        return s;
    for (int i = 0; i < line.n; i++) {
        t_mean += line.t[i] / line.n;
        v_mean += line.v[i] / line.n;
    }
    for (int i = 0; i < line.n; i++) {
        tt += (line.t[i] - t_mean) * (line.t[i] - t_mean);
        tv += (line.t[i] - t_mean) * (line.v[i] - v_mean);
    }
    s.per_h = tv / tt;
    s.value = v_mean - s.per_h * t_mean;
    for (int i = 0; i < line.n; i++) {
        double off = line.v[i] - s.value - s.per_h * line.t[i];
        left += off * off;
    }
    s.sd_per_h = sqrt(left / (line.n - 2) / tt);
    return s;
}

/* Hours with that slope; INFINITY when it goes elsewhere or settles before. */
static double hours_to(double value, double per_h, double tau_h, double limit)
{
    double hours = (limit - value) / per_h;
    if (!(hours > 0))
        return INFINITY;
    if (isnan(tau_h))
        return hours;
    return hours >= tau_h ? INFINITY : -tau_h * log1p(-hours / tau_h);
}

/* A slope within its own doubt says nothing. */
static bool is_known(const struct approach_slope *s)
{
    return fabs(s->per_h) > (isfinite(s->sd_per_h) ? s->sd_per_h : 0);
}

static void spread_at_least(struct approach_hours *out)
{
    double least = fmax(LEAST_SHARE * out->at, LEAST_H);
    out->early = fmax(0, fmin(out->early, out->at - least));
    out->late = fmax(out->late, out->at + least);
}

bool approach_when(const struct approach_slope *s, double tau_h, double limit, struct approach_hours *out)
{
    if (!isfinite(s->value) || !isfinite(s->per_h) || isnan(limit) || !is_known(s))
        return false;
    double slack = SDS * (isfinite(s->sd_per_h) ? s->sd_per_h : fabs(s->per_h)), way = s->per_h > 0 ? 1 : -1;
    out->at = hours_to(s->value, s->per_h, tau_h, limit);
    if (isinf(out->at))
        return false;
    out->early = hours_to(s->value, s->per_h + way * slack, NAN, limit);
    out->late = slack < fabs(s->per_h) ? hours_to(s->value, s->per_h - way * slack, tau_h, limit) : INFINITY;
    spread_at_least(out);
    return true;
}

/* --- in a room that is measured --- */

#define STEP_MS      (10 * MS_PER_MIN)
#define ROOM_MEAN_MS (30 * MS_PER_MIN)
#define FADE_H       6.0

struct room {
    const struct window *w;
    utc_t now;
    double at_now, offset; /* offset: now against a day ago */
};

static double room_at(const struct room *room, int64_t ahead_ms)
{
    int64_t days = ahead_ms / MS_PER_DAY + 1;
    double before =
        window_mean_over(room->w, (utc_t){ room->now.ms + ahead_ms - days * MS_PER_DAY }, ROOM_MEAN_MS);
    double hours = (double)ahead_ms / (double)MS_PER_HOUR;
    return isnan(before) || isnan(room->offset) ? room->at_now : before + room->offset * exp(-hours / FADE_H);
}

/* Hours until it is there with that slope now and a room by so much warmer; INFINITY: not within most_h. */
static double walk(const struct approach_slope *s, double per_h, double warmer_c, double tau_h,
                   const struct room *room, double limit, double most_h)
{
    double v = s->value, heat = per_h + (v - room->at_now) / tau_h;
    double step_h = (double)STEP_MS / (double)MS_PER_HOUR;
    bool falls = limit < v;
    for (int64_t ms = 0; (double)ms / (double)MS_PER_HOUR < most_h; ms += STEP_MS) {
        double before = v;
        double fade = 1 - exp(-(double)ms / (double)MS_PER_HOUR / FADE_H);
        v += step_h * (heat - (v - room_at(room, ms) - fade * warmer_c) / tau_h);
        if (falls ? v <= limit : v >= limit)
            return (double)ms / (double)MS_PER_HOUR + step_h * (limit - before) / (v - before);
    }
    return INFINITY;
}

bool approach_in_room(const struct approach_slope *s, double tau_h, const struct window *w, utc_t now,
                      double limit, double most_h, struct approach_hours *out)
{
    struct room room = { .w = w, .now = now, .at_now = window_mean_over(w, now, ROOM_MEAN_MS) };
    double way = limit > s->value ? 1 : -1, slack = SDS * s->sd_per_h;
    room.offset = room.at_now - window_mean_over(w, (utc_t){ now.ms - MS_PER_DAY }, ROOM_MEAN_MS);
    if (!isfinite(s->value) || !is_known(s) || !(s->per_h * way > 0) || !isfinite(slack) ||
        isnan(room.at_now) || !(tau_h > 0) || isnan(limit))
        return false;
    out->at = walk(s, s->per_h, 0, tau_h, &room, limit, most_h);
    if (isinf(out->at))
        return false;
    out->early = walk(s, s->per_h + way * slack, way * APPROACH_ROOM_SD_C, tau_h, &room, limit, most_h);
    out->late = walk(s, s->per_h - way * slack, -way * APPROACH_ROOM_SD_C, tau_h, &room, limit, most_h);
    spread_at_least(out);
    return true;
}

/* A place by its name: another configuration may number them otherwise. */
void approach_visit(struct forecast *f, const struct site *site, struct pack *p)
{
    char place[PLACE_TEXT_MAX] = "";
    int32_t quantity = (int32_t)f->quantity;
    if (!p->reading && f->place >= 0)
        snprintf(place, sizeof place, "%s", site->places[f->place].text);
    pack_i32(p, &quantity, 0, Q_COUNT);
    pack_text(p, place, sizeof place);
    pack_f64(p, &f->limit, -1e12, 1e12);
    pack_utc(p, &f->at);
    pack_utc(p, &f->at_early);
    pack_utc(p, &f->at_late);
    if (!p->reading)
        return;
    f->quantity = (enum quantity)quantity;
    f->place = site_place_find(site, place, strlen(place));
    if (p->bad || f->place < 0)
        *f = FORECAST_NONE;
}
