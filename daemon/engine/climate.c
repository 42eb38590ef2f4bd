/* A room that went cold or hot: by its own probe, or by what all tanks do. Looked at once a minute. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#include "base/text.h"

#define ROOM_OFF_C     2.5 /* beyond the week's range */
#define ROOM_FAR_C     4.0 /* so far that no other sign is needed */
#define ROOM_MEAN_MS   (20 * MS_PER_MIN)
#define WEEK_MARGIN_C  1.2
#define RANGE_SPAN_H   (7 * 24)
#define RANGE_SKIP_H   4
#define RANGE_SIDE_H   2
#define RANGE_LEAST_H  20
#define ODD_DAYS_LEAST 3   /* of more days one is left out */
#define OUT_OF_BAND    2.0 /* spreads of the thermostat */
#define FOLLOW_SHARE   0.2 /* of the heated tanks */

/* Airing makes the room fall too, but ends within the hour, and slows down at once where the air comes in
 * fast; a room whose heating failed goes on, nearly straight, for its walls cool too. */
#define STEP_MIN      5
#define RUN_STEPS     18
#define RUN_LEAST     6
#define RUN_LONG      11
#define RUN_SLACKENS  0.3  /* of its fastest step: slower is no part of the run */
#define RUN_FULL      0.85 /* of it: the run proper begins there */
#define RUN_OFF_C     1.5
#define RUN_BARELY_C  0.4 /* enough when the run itself is unusual: */
#define QUARTER_STEPS 3
#define STEADY_SHARE  0.6 /* of the mean pace */
#define RUN_SHORT     8
#define RUN_MOVED_C   1.4
#define RUN_TIMES     1.5 /* as far as in that time yesterday */
#define HOUR_STEPS    12
#define AIRING_C_H    2.4
#define DAY_STEPS     288
#define AROUND_STEPS  24
#define RUN_STRAIGHT  0.6 /* of the way in the first half of the time: more is a draught */
/* A room without heat falls about evenly from the first quarter hour on; an airing at once, and then less and
 * less. */
#define EVEN_STEPS     8
#define EVEN_MOVED_C   1.0
#define EVEN_OFF_C     0.4  /* under all that it had at this time of day */
#define EVEN_HALF      0.35 /* of the way, at least, in each half of the time */
#define EVEN_LAST      0.5  /* of the mean pace in the last quarter, and now */
#define EVEN_TIMES     1.2  /* its mean pace, */
#define EVEN_NOISE_C_H 0.8  /* and so much for noise: what was faster over two steps was an airing */
/* Off for so long, and not on its way back: no airing. */
#define LASTING_STEPS 12
#define FAR_STEPS     9 /* when it is so far off that no other sign is needed */
#define COMES_BACK_C  0.2
#define GOES_ON_C_H   0.3
#define BEFORE_STEPS  48
#define WARMER_C      0.7

struct together {
    int heated, low, high;
};

static void add_tank(struct engine *e, int tank, utc_t now, struct together *out)
{
    struct heater_view v;
    int place = e->site->tanks[tank].place;
    if (!tank_is_heated(e, tank) || e->tanks[tank].in_service || !heater_view_of(e, tank, now, &v))
        return;
    out->heated++;
    out->low += v.below > OUT_OF_BAND && !alert_is_active(e, place, KIND_HEATER_DEAD, Q_COUNT);
    out->high += v.above > OUT_OF_BAND && v.slope_c_h > 0 && !heater_gives(&v);
}

static struct together look_at_all(struct engine *e, utc_t now)
{
    struct together out = { 0 };
    for (int i = 0; i < e->site->tank_count; i++)
        add_tank(e, i, now, &out);
    return out;
}

/* One is out of its band for reasons of its own. */
static bool follow(int out, int heated)
{
    return out > 0 && (out >= FOLLOW_SHARE * heated || out == heated);
}

static void judge(struct engine *e, int place, enum alert_kind kind, enum tri condition, double value,
                  double limit, const char *evidence, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, Q_COUNT);
    if (slot < 0)
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    if (condition != TRI_KEEP)
        snprintf(pub->evidence, sizeof pub->evidence, "%s", evidence);
    alarm_judge(&e->alarms, slot, condition, value, limit, now, fx);
}

/* --- the room --- */

/* The lowest and the highest of some days, each but for one odd day: a window that stood open, a feast. */
struct reach {
    double lo[2], hi[2];
    int days, hours;
};

static void add_day(struct reach *u, const struct window *days, utc_t now, int from_h, int to_h)
{
    double lo = INFINITY, hi = -INFINITY;
    int before = u->hours;
    for (int i = from_h < RANGE_SKIP_H ? RANGE_SKIP_H : from_h; i <= to_h && i < RANGE_SPAN_H; i++) {
        const struct window_bin *bin = window_at(days, (utc_t){ now.ms - i * MS_PER_HOUR });
        if (bin == NULL)
            continue;
        lo = fmin(lo, window_mean(bin));
        hi = fmax(hi, window_mean(bin));
        u->hours++;
    }
    u->days += u->hours > before;
    u->lo[1] = fmin(u->lo[1], fmax(u->lo[0], lo));
    u->lo[0] = fmin(u->lo[0], lo);
    u->hi[1] = fmax(u->hi[1], fmin(u->hi[0], hi));
    u->hi[0] = fmax(u->hi[0], hi);
}

static struct reach reach_of(const struct window *days, utc_t now, int side_h)
{
    struct reach r = { { INFINITY, INFINITY }, { -INFINITY, -INFINITY }, 0, 0 };
    for (int h = 0; h <= RANGE_SPAN_H; h += 24)
        add_day(&r, days, now, h - side_h, h + side_h - (side_h == 12));
    return r;
}

/* From hourly means. */
struct usual {
    double lo, hi;  /* at this time of day, with a dull day allowed for */
    double hour_lo; /* and without; NaN while there are less than two days */
    double week_lo; /* at any time of day */
};

static bool usual_of(const struct window *days, utc_t now, struct usual *out)
{
    bool two_days = window_at(days, (utc_t){ now.ms - 2 * MS_PER_DAY }) != NULL;
    struct reach week = reach_of(days, now, 12), hour = reach_of(days, now, RANGE_SIDE_H);
    const struct reach *r = two_days ? &hour : &week;
    int odd = r->days > ODD_DAYS_LEAST;
    out->hour_lo = two_days ? r->lo[odd] : NAN;
    out->week_lo = week.lo[odd];
    /* A dull day is no fault: what the room had at some hour of the week is never more than a little unusual.
     */
    out->lo = fmin(r->lo[odd], week.lo[odd] + WEEK_MARGIN_C);
    out->hi = fmax(r->hi[odd], week.hi[odd] - WEEK_MARGIN_C);
    return r->hours >= (two_days ? RANGE_SIDE_H : RANGE_LEAST_H);
}

/* What was usual when it began stays the measure until it is over. */
static double measure(const struct engine *e, enum alert_kind kind, double usual)
{
    int slot = slot_find(e->site, e->site->room_place, kind, Q_COUNT);
    const struct alert *pub = &e->alarms.items[slot].pub;
    if (!pub->active || isnan(pub->limit))
        return usual;
    return kind == KIND_ROOM_COLD ? pub->limit + ROOM_OFF_C : pub->limit - ROOM_OFF_C;
}

static double step_mean(const struct window *day, utc_t now, int steps_back)
{
    return window_mean_over(day, (utc_t){ now.ms - steps_back * STEP_MIN * MS_PER_MIN },
                            STEP_MIN * MS_PER_MIN);
}

/* Whole steps for which it has been moving that way all the time, from its full speed on; sign -1: it
 * falls. */
static int running_for(const struct window *day, utc_t now, double sign)
{
    double way[RUN_STEPS], most = 0;
    int steps = 0;
    for (int i = 0; i < RUN_STEPS; i++) {
        way[i] = sign * (step_mean(day, now, i + 1) - step_mean(day, now, i + 2));
        most = fmax(most, way[i]);
    }
    while (steps < RUN_STEPS && way[steps] > RUN_SLACKENS * most)
        steps++;
    while (steps > 0 && way[steps - 1] < RUN_FULL * most)
        steps--;
    return steps;
}

static bool is_straight(const struct window *day, utc_t now, int steps)
{
    double end = step_mean(day, now, 1), half = step_mean(day, now, 1 + steps / 2);
    double begin = step_mean(day, now, 1 + steps / 2 * 2);
    return steps >= RUN_LEAST && fabs(half - begin) < RUN_STRAIGHT * fabs(end - begin);
}

/* The most that it moved that way within so many steps yesterday at this time, two hours to either side. */
static double moved_yesterday(const struct window *day, utc_t now, double sign, int steps)
{
    double most = 0;
    for (int i = DAY_STEPS - AROUND_STEPS; i < DAY_STEPS + AROUND_STEPS; i++)
        most = fmax(most, sign * (step_mean(day, now, i) - step_mean(day, now, i + steps)));
    return most;
}

/* Faster than the evening's setback was, and for longer than an airing stays straight. */
static bool is_unusual(const struct window *day, utc_t now, double sign, int steps)
{
    double moved = sign * (step_mean(day, now, 1) - step_mean(day, now, 1 + steps));
    return steps >= RUN_SHORT && moved > RUN_MOVED_C &&
           moved > RUN_TIMES * moved_yesterday(day, now, sign, steps);
}

/* As fast in each quarter of the last hour but the first as on the average: the boiler and the noise leave no
 * step like the one before, but an airing slows down within them. */
static bool is_steady(const struct window *day, utc_t now, double sign)
{
    int64_t quarter = QUARTER_STEPS * STEP_MIN * MS_PER_MIN;
    double mean[4], least = INFINITY;
    for (int i = 0; i < 4; i++)
        mean[i] = window_mean_over(day, (utc_t){ now.ms - i * quarter }, quarter);
    for (int i = 0; i < 3; i++)
        least = fmin(least, isnan(mean[i + 1]) ? -1 : sign * (mean[i] - mean[i + 1]));
    return least > STEADY_SHARE * sign * (mean[0] - mean[3]) / 3 && least > 0;
}

/* Warmer than before it was aired it is not. */
static bool comes_back(const struct window *day, utc_t now, double sign)
{
    double before = -INFINITY;
    for (int i = HOUR_STEPS; i < BEFORE_STEPS; i++)
        before = fmax(before, step_mean(day, now, i));
    return sign > 0 && step_mean(day, now, 1) < before + WARMER_C;
}

/* No boiler that fails lets a room fall so fast within the hour. */
static bool is_airing(const struct window *day, utc_t now, double sign)
{
    return sign * (step_mean(day, now, 1) - step_mean(day, now, 1 + HOUR_STEPS)) > AIRING_C_H;
}

/* It runs away: for longer than any airing, or already far and not slowing down. */
static bool runs_away(const struct window *day, utc_t now, double sign, double usual_c)
{
    int steps = running_for(day, now, sign);
    double off_c = sign * (window_mean_over(day, now, 2 * STEP_MIN * MS_PER_MIN) - usual_c);
    bool straight = is_straight(day, now, steps);
    if (straight && off_c > ROOM_FAR_C)
        return true;
    if (straight && off_c > RUN_OFF_C && steps >= RUN_LONG)
        return true;
    if (is_airing(day, now, sign) || comes_back(day, now, sign) || off_c < RUN_BARELY_C)
        return false;
    if (is_steady(day, now, sign))
        return off_c > RUN_OFF_C || is_unusual(day, now, sign, 3 * QUARTER_STEPS);
    return straight && is_unusual(day, now, sign, steps);
}

static double fastest_c_h(const struct window *day, utc_t now, int steps)
{
    double most = 0;
    for (int i = 1; i < steps; i++)
        most = fmax(most, step_mean(day, now, i + 2) - step_mean(day, now, i));
    return most * 60 / (2 * STEP_MIN);
}

/* How far it fell until then, 0 when not as a room without heat does. */
static double even_fall(const struct window *day, utc_t now)
{
    double last = step_mean(day, now, 1), first = step_mean(day, now, 1 + EVEN_STEPS), fell = first - last;
    double half = first - step_mean(day, now, 1 + EVEN_STEPS / 2);
    double most_c_h = EVEN_TIMES * fell * 60 / (EVEN_STEPS * STEP_MIN) + EVEN_NOISE_C_H;
    bool even = fmin(half, fell - half) > EVEN_HALF * fell && fastest_c_h(day, now, EVEN_STEPS) < most_c_h;
    return even ? fmax(fell, 0) : 0;
}

static double even_fall_yesterday(const struct window *day, utc_t now)
{
    double most = 0;
    for (int i = DAY_STEPS - AROUND_STEPS; i < DAY_STEPS + AROUND_STEPS; i++)
        most = fmax(most, even_fall(day, (utc_t){ now.ms - i * STEP_MIN * MS_PER_MIN }));
    return most;
}

static bool falls_evenly(const struct window *day, utc_t now, double hour_lo_c)
{
    double last = step_mean(day, now, 1), fell = even_fall(day, now);
    double late = step_mean(day, now, 1 + EVEN_STEPS / 4) - last, newest = last - step_mean(day, now, 0);
    double off_c = hour_lo_c - window_mean_over(day, now, 2 * STEP_MIN * MS_PER_MIN);
    return off_c > EVEN_OFF_C && fell > EVEN_MOVED_C && late > EVEN_LAST * fell / 4 &&
           newest > EVEN_LAST * fell / EVEN_STEPS && fell > RUN_TIMES * even_fall_yesterday(day, now);
}

/* The least that it was off over the last while, sign -1 for cold; negative when it comes back. */
static double lasting(const struct window *day, utc_t now, double sign, double usual_c, int steps)
{
    double least = NAN;
    int64_t quarter = 3 * STEP_MIN * MS_PER_MIN;
    for (int i = 0; i < steps; i++)
        least = fmin(least, sign * (step_mean(day, now, i) - usual_c));
    double late = window_mean_over(day, now, quarter);
    double before = window_mean_over(day, (utc_t){ now.ms - quarter }, quarter);
    return sign * (late - before) < -COMES_BACK_C ? -1 : least;
}

static bool goes_on(const struct window *day, utc_t now, double sign)
{
    return sign * (step_mean(day, now, 1) - step_mean(day, now, 1 + HOUR_STEPS)) > GOES_ON_C_H;
}

/* For an hour far under what it has at this time of day, and under all that it has at any. */
static bool is_cold_by_day(const struct window *day, utc_t now, const struct usual *usual)
{
    return lasting(day, now, -1, usual->hour_lo, LASTING_STEPS) > ROOM_OFF_C &&
           lasting(day, now, -1, usual->week_lo, QUARTER_STEPS) > RUN_BARELY_C;
}

static enum tri beyond(const struct window *day, utc_t now, double sign, double mean_c, double usual_c,
                       bool tanks_follow)
{
    double off_c = sign * (mean_c - usual_c);
    if (runs_away(day, now, sign, usual_c) || lasting(day, now, sign, usual_c, FAR_STEPS) > ROOM_FAR_C ||
        (off_c > ROOM_OFF_C && tanks_follow) ||
        (off_c > ROOM_OFF_C && lasting(day, now, sign, usual_c, LASTING_STEPS) > ROOM_OFF_C))
        return TRI_YES;
    return off_c < ROOM_OFF_C / 2 && !goes_on(day, now, sign) ? TRI_NO : TRI_KEEP;
}

static void watch_room_probe(struct engine *e, int stream, const struct together *all, struct now now,
                             struct effects *fx)
{
    const struct stream_state *s = &e->streams[stream];
    struct usual usual;
    double mean = window_mean_over(&s->day, now.utc, ROOM_MEAN_MS);
    char evidence[ALERT_EVIDENCE_MAX];
    if (s->silent || isnan(mean) || !usual_of(&s->days, now.utc, &usual))
        return;
    bool falls = falls_evenly(&s->day, now.utc, usual.hour_lo) || is_cold_by_day(&s->day, now.utc, &usual);
    double lo = measure(e, KIND_ROOM_COLD, falls ? usual.hour_lo : usual.lo);
    double hi = measure(e, KIND_ROOM_HOT, usual.hi);
    double hour_c = s->value - step_mean(&s->day, now.utc, 12);
    struct text out = text_over(evidence, sizeof evidence);
    text_printf(&out, "room %.1f °C, usual at this time of day %.1f to %.1f °C", s->value, lo, hi);
    if (!isnan(hour_c))
        text_printf(&out, ", %+.1f °C in the last hour", hour_c);
    text_printf(&out, "; %d of %d heated tanks are under their band, %d over it", all->low, all->heated,
                all->high);
    enum tri cold = falls ? TRI_YES : beyond(&s->day, now.utc, -1, mean, lo, follow(all->low, all->heated));
    judge(e, e->site->room_place, KIND_ROOM_COLD, cold, mean, lo - ROOM_OFF_C, evidence, now, fx);
    judge(e, e->site->room_place, KIND_ROOM_HOT,
          beyond(&s->day, now.utc, 1, mean, hi, follow(all->high, all->heated)), mean, hi + ROOM_OFF_C,
          evidence, now, fx);
}

/* Without a probe in the room the tanks themselves must tell: nearly all of them, on more than one circuit.
 */
static void watch_room_by_tanks(struct engine *e, const struct together *all, struct now now,
                                struct effects *fx)
{
    char evidence[ALERT_EVIDENCE_MAX];
    if (all->heated < 4)
        return;
    snprintf(evidence, sizeof evidence,
             "%d of %d heated tanks are under their band, %d over it; the room is not measured", all->low,
             all->heated, all->high);
    bool cold = all->low >= 0.75 * all->heated, hot = all->high >= 0.75 * all->heated;
    judge(e, e->site->room_place, KIND_ROOM_COLD,
          cold            ? TRI_YES
          : all->low == 0 ? TRI_NO
                          : TRI_KEEP,
          all->low, all->heated, evidence, now, fx);
    judge(e, e->site->room_place, KIND_ROOM_HOT,
          hot              ? TRI_YES
          : all->high == 0 ? TRI_NO
                           : TRI_KEEP,
          all->high, all->heated, evidence, now, fx);
}

void climate_watch(struct engine *e, struct now now, struct effects *fx)
{
    struct together all = look_at_all(e, now.utc);
    int stream = site_stream_of(e->site, e->site->room_place, Q_TEMP);
    if (stream >= 0 && e->streams[stream].seen)
        watch_room_probe(e, stream, &all, now, fx);
    else
        watch_room_by_tanks(e, &all, now, fx);
}
