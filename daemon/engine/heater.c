#include "engine/heater.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEARN_SPAN_MS    (2 * MS_PER_DAY)
#define LEARN_SKIP_MS    (90 * MS_PER_MIN) /* the newest stretch may be the beginning of a fault */
#define LEARN_LEAST_BINS 120               /* ten hours of 5 min bins */
#define POINTS_MAX       600
#define STEP_BINS        4 /* slopes of history are taken over 20 min */
#define SLOPE_BINS       6 /* the present one over 30 min */

/* The band is taken between these shares of the 5 min means. */
#define BAND_LO_TAIL 0.015
#define BAND_HI_TAIL 0.98
/* A learnt edge moves inwards only so fast: a warm week does not move the thermostat. */
#define BAND_LO_RISE_C_DAY 0.1
#define BAND_HI_SINK_C_DAY 0.15

/* Before anything is learnt the thermostat is taken to hold the setpoint within this. */
#define SETPOINT_BAND_C 0.8

/* A tank loses heat through its faces: tau grows with the cube root of the volume. About 2.4 h per cube root
 * of a litre with a lid, a fifth less without; small glass tanks lie within a factor of two. */
#define TAU_H_PER_CBRT_L 2.4
#define TAU_OPEN_SHARE   0.8

#define EDGE_C       0.08 /* outside the band by this */
#define SINK_C       0.03
#define DEAD_SHARE   0.45 /* less heat than this share of what would hold the temperature is none */
#define STUCK_FULL   0.5  /* more heat than this share of the heater's usual is "on" */
#define WEAK_FULL    0.7  /* less than this share of it, though it should be on, is weak */
#define DEAD_MIN     10
#define STUCK_MIN    5
#define WEAK_MIN     240
#define GAP_LEAST_C  0.7 /* the room must be cooler by this for the share to mean something */
#define DISTURBED_MS (50 * MS_PER_MIN)
#define TOO_FAST_C_H 0.3
#define NEAR_EDGE_C  0.35
#define HEATING_BINS 4

void heater_init(struct heater *h)
{
    *h = (struct heater){ .band_lo_c = NAN,
                          .band_hi_c = NAN,
                          .off_c_h = NAN,
                          .full_c_h = NAN,
                          .tau_h = NAN,
                          .learnt_at = UTC_NONE,
                          .trouble_at = UTC_NONE,
                          .disturbed_until = UTC_NONE };
}

static int compare_double(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double share_of(double *values, int n, double share)
{
    qsort(values, (size_t)n, sizeof *values, compare_double);
    return values[(int)lround(share * (n - 1))];
}

static double mean_at(const struct window *w, utc_t t)
{
    const struct window_bin *bin = w == NULL ? NULL : window_at(w, t);
    return bin == NULL ? NAN : window_mean(bin);
}

/* --- learning --- */

struct stretch {
    double temp_c, slope_c_h, gap_c; /* gap to the room; NaN when not measured */
};

static int gather(const struct window *temp, const struct window *room, utc_t now, utc_t trouble_at,
                  struct stretch *out)
{
    double hours = STEP_BINS * (double)temp->bin_ms / (double)MS_PER_HOUR;
    int n = 0;
    int64_t from = now.ms - LEARN_SPAN_MS > trouble_at.ms ? now.ms - LEARN_SPAN_MS : trouble_at.ms;
    for (int64_t t = from; t <= now.ms - LEARN_SKIP_MS && n < POINTS_MAX; t += temp->bin_ms) {
        double a = mean_at(temp, (utc_t){ t }), b = mean_at(temp, (utc_t){ t + STEP_BINS * temp->bin_ms });
        if (isnan(a) || isnan(b))
            continue;
        double r = mean_at(room, (utc_t){ t + STEP_BINS / 2 * temp->bin_ms });
        out[n++] = (struct stretch){ a, (b - a) / hours, (a + b) / 2 - r };
    }
    return n;
}

/* 1/tau is the largest rate at which the gap to the room shrinks: that of the stretches without heat. */
static double learn_tau(const struct stretch *s, int n)
{
    double rate[POINTS_MAX];
    int m = 0, k = 0;
    for (int i = 0; i < n; i++)
        if (s[i].gap_c > 1.0)
            rate[m++] = -s[i].slope_c_h / s[i].gap_c;
    if (m < LEARN_LEAST_BINS / 2)
        return NAN;
    double high = share_of(rate, m, 0.9);
    for (int i = 0; i < m; i++)
        if (rate[i] >= 0.6 * high)
            rate[k++] = rate[i];
    double usual = k == 0 ? NAN : share_of(rate, k, 0.5);
    return usual > 0.01 && usual < 2.0 ? 1 / usual : NAN;
}

static double heat_of(const struct heater *h, const struct stretch *s)
{
    return isnan(s->gap_c) || isnan(h->tau_h) ? s->slope_c_h - h->off_c_h
                                              : s->slope_c_h + s->gap_c / h->tau_h;
}

static bool saw_heating(const struct heater *h, const struct stretch *s, int n, double lo_c)
{
    int count = 0;
    for (int i = 0; i < n; i++)
        count +=
            s[i].temp_c < lo_c + NEAR_EDGE_C && heat_of(h, &s[i]) > 0.7 * h->full_c_h && s[i].slope_c_h > 0;
    return count >= HEATING_BINS;
}

static void learn_band(struct heater *h, const struct stretch *s, int n, double days)
{
    double temps[POINTS_MAX];
    for (int i = 0; i < n; i++)
        temps[i] = s[i].temp_c;
    double lo = share_of(temps, n, BAND_LO_TAIL), hi = share_of(temps, n, BAND_HI_TAIL);
    bool seen = saw_heating(h, s, n, lo);
    if (isnan(h->band_lo_c) || lo < h->band_lo_c || (seen && !h->heating_seen))
        h->band_lo_c = lo;
    else if (seen)
        h->band_lo_c = fmin(lo, h->band_lo_c + days * BAND_LO_RISE_C_DAY);
    if (isnan(h->band_hi_c) || hi > h->band_hi_c)
        h->band_hi_c = hi;
    else
        h->band_hi_c = fmax(hi, h->band_hi_c - days * BAND_HI_SINK_C_DAY);
    h->heating_seen = h->heating_seen || seen;
}

void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now)
{
    struct stretch s[POINTS_MAX];
    double values[POINTS_MAX];
    int n = gather(temp, room, now, h->trouble_at, s);
    double days = utc_is_set(h->learnt_at) ? (double)(now.ms - h->learnt_at.ms) / (double)MS_PER_DAY : 0;
    h->learnt_at = now;
    if (n < LEARN_LEAST_BINS)
        return;
    for (int i = 0; i < n; i++)
        values[i] = s[i].slope_c_h;
    h->off_c_h = fmin(share_of(values, n, 0.12), 0);
    double tau_h = learn_tau(s, n);
    if (!isnan(tau_h))
        h->tau_h = tau_h;
    for (int i = 0; i < n; i++)
        values[i] = heat_of(h, &s[i]);
    double full = share_of(values, n, 0.95);
    if (isnan(h->full_c_h) || full > h->full_c_h)
        h->full_c_h = full;
    else if (h->heating_seen) /* it forgets slowly: a warm week is no weaker heater */
        h->full_c_h = fmax(full, h->full_c_h * (1 - 0.05 * days));
    learn_band(h, s, n, days < 0 ? 0 : days);
    h->learnt_h = (double)n * (double)temp->bin_ms / (double)MS_PER_HOUR;
}

/* --- looking --- */

static double tau_guess_h(const struct tank *tank)
{
    return TAU_H_PER_CBRT_L * cbrt(tank->volume_l) * (tank->lid ? 1.0 : TAU_OPEN_SHARE);
}

/* Least squares over the last bins that hold something; the newest mean and the largest jump between
 * neighbours. */
static double slope_now(const struct window *temp, utc_t now, double *mean, double *jump, utc_t *jump_at)
{
    double st = 0, sv = 0, stt = 0, stv = 0, last = NAN;
    int n = 0;
    *jump = 0;
    for (int i = SLOPE_BINS - 1; i >= 0; i--) {
        utc_t t = { now.ms - i * temp->bin_ms };
        double v = mean_at(temp, t), x = -(double)i * (double)temp->bin_ms / (double)MS_PER_HOUR;
        if (isnan(v))
            continue;
        if (!isnan(last) && fabs(v - last) > fabs(*jump)) {
            *jump = v - last;
            *jump_at = t;
        }
        st += x;
        sv += v;
        stt += x * x;
        stv += x * v;
        n++;
        last = v;
    }
    *mean = last;
    double spread = n * stt - st * st;
    return n < SLOPE_BINS - 2 || spread <= 0 ? NAN : (n * stv - st * sv) / spread;
}

static void band_of(const struct heater *h, const struct tank *tank, struct heater_view *out)
{
    out->band_lo_c = h->heating_seen ? h->band_lo_c : NAN;
    out->band_hi_c = h->band_hi_c;
    if (isnan(out->band_lo_c) && !isnan(tank->setpoint_c))
        out->band_lo_c =
            fmin(tank->setpoint_c - SETPOINT_BAND_C, isnan(h->band_lo_c) ? INFINITY : h->band_lo_c);
    if (isnan(out->band_hi_c) && !isnan(tank->setpoint_c))
        out->band_hi_c = tank->setpoint_c + 1.5 * SETPOINT_BAND_C;
}

void heater_look(struct heater *h, const struct tank *tank, const struct window *temp,
                 const struct window *room, utc_t now, struct heater_view *out)
{
    double jump;
    utc_t jump_at = now;
    *out =
        (struct heater_view){ .free_c_h = NAN, .heat_c_h = NAN, .share = NAN, .room_c = mean_at(room, now) };
    if (isnan(out->room_c))
        out->room_c = mean_at(room, (utc_t){ now.ms - 5 * MS_PER_MIN });
    out->slope_c_h = slope_now(temp, now, &out->temp_c, &jump, &jump_at);
    band_of(h, tank, out);
    double gap = out->temp_c - out->room_c;
    if (!isnan(gap))
        out->free_c_h = -gap / (isnan(h->tau_h) ? tau_guess_h(tank) : h->tau_h);
    else
        out->free_c_h = h->off_c_h;
    if (isnan(out->free_c_h))
        return;
    out->heat_c_h = out->slope_c_h - out->free_c_h;
    if (gap > GAP_LEAST_C || (isnan(gap) && out->free_c_h < -0.05))
        out->share = out->heat_c_h / -out->free_c_h;
    double bin_h = (double)temp->bin_ms / (double)MS_PER_HOUR;
    double most = 2.5 * bin_h * (fabs(out->free_c_h) + (isnan(h->full_c_h) ? 1.0 : h->full_c_h)) + 0.12;
    bool too_fast =
        out->slope_c_h < 2.5 * fmin(out->free_c_h, 0) - TOO_FAST_C_H; /* no room cools a tank like that */
    if (fabs(jump) > most || too_fast)
        h->disturbed_until = (utc_t){ jump_at.ms + DISTURBED_MS };
}

/* --- judging --- */

/* Bounded, so that the end of a long fault is seen as soon as that of a short one. */
static int32_t counted(int32_t minutes, int32_t most, bool speaks)
{
    if (speaks)
        return minutes < most ? minutes + 1 : most;
    return minutes > 1 ? minutes - 2 : 0;
}

bool heater_sinks(const struct heater *h, const struct heater_view *v)
{
    (void)h;
    return v->temp_c < v->band_lo_c - SINK_C && v->share < DEAD_SHARE && v->slope_c_h < 0;
}

enum heater_cause heater_judge(struct heater *h, const struct heater_view *v, utc_t now)
{
    if (isnan(v->heat_c_h) || (utc_is_set(h->disturbed_until) && now.ms < h->disturbed_until.ms))
        return HEATER_UNKNOWN;
    bool below = v->temp_c<v->band_lo_c - EDGE_C, above = v->temp_c> v->band_hi_c + EDGE_C;
    bool weak = v->temp_c < v->band_lo_c + SINK_C && v->share >= DEAD_SHARE &&
                v->heat_c_h < WEAK_FULL * h->full_c_h && h->heating_seen;
    h->dead_min = below ? counted(h->dead_min, 3 * DEAD_MIN, v->share < DEAD_SHARE && v->slope_c_h < 0) : 0;
    h->stuck_min = above ? counted(h->stuck_min, 3 * STUCK_MIN,
                                   v->slope_c_h > 0 && v->heat_c_h > STUCK_FULL * h->full_c_h)
                         : 0;
    h->weak_min = counted(h->weak_min, 2 * WEAK_MIN, weak);
    if (h->dead_min >= DEAD_MIN)
        return HEATER_DEAD;
    if (h->stuck_min >= STUCK_MIN)
        return HEATER_STUCK;
    if (h->weak_min >= WEAK_MIN)
        return HEATER_WEAK;
    return !below && !above ? HEATER_FINE : HEATER_UNKNOWN;
}

void heater_visit(struct heater *h, struct pack *p)
{
    pack_f64(p, &h->band_lo_c, -50, 100);
    pack_f64(p, &h->band_hi_c, -50, 100);
    pack_bool(p, &h->heating_seen);
    pack_f64(p, &h->off_c_h, -100, 0);
    pack_f64(p, &h->full_c_h, -100, 100);
    pack_f64(p, &h->tau_h, 0, 10000);
    pack_f64(p, &h->learnt_h, 0, 1e6);
    pack_utc(p, &h->learnt_at);
    pack_utc(p, &h->trouble_at);
    pack_utc(p, &h->disturbed_until);
    pack_i32(p, &h->dead_min, 0, INT32_MAX);
    pack_i32(p, &h->stuck_min, 0, INT32_MAX);
    pack_i32(p, &h->weak_min, 0, INT32_MAX);
    pack_i32(p, &h->cause, HEATER_UNKNOWN, HEATER_WEAK);
}
