#include "engine/heater.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEARN_SPAN_MS    (2 * MS_PER_DAY)
#define LEARN_SKIP_MS    (90 * MS_PER_MIN) /* the newest stretch may be the beginning of a fault */
#define LEARN_LEAST_BINS 120               /* ten hours of 5 min bins */
#define SLOPE_BINS       8                 /* 40 min */
#define POINTS_MAX       600

/* The band is taken between these shares of the 5 min means. */
#define BAND_TAIL  0.02
#define SLOPE_TAIL 0.12

/* Before anything is learnt the thermostat is taken to hold the setpoint within this. */
#define SETPOINT_BAND_C 1.0

/* A tank loses heat through its faces: tau grows with the cube root of the volume. About 2.4 h per cube root
 * of a litre with a lid, a fifth less without; measured small glass tanks lie within a factor of 1.5. */
#define TAU_H_PER_CBRT_L 2.4
#define TAU_OPEN_SHARE   0.8

#define BELOW_C           0.15 /* under the band by this */
#define ABOVE_C           0.15
#define DEAD_SHARE_MOST   0.45 /* less heat than this share of what would hold the temperature is none */
#define WEAK_SHARE_MOST   0.97
#define STUCK_SHARE_LEAST 1.15
#define DEAD_MIN          10
#define STUCK_MIN         10
#define WEAK_MIN          180
#define GAP_LEAST_C       0.7 /* room must be cooler by this for the power to be inferred */

void heater_init(struct heater *h)
{
    *h = (struct heater){
        .band_lo_c = NAN, .band_hi_c = NAN, .off_c_h = NAN, .on_c_h = NAN, .tau_h = NAN, .learnt_at = UTC_NONE
    };
}

void heater_unlearn(struct heater *h)
{
    heater_init(h);
}

static int compare_double(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double share_of(const double *sorted, int n, double share)
{
    return sorted[(int)lround(share * (n - 1))];
}

static double mean_at(const struct window *w, utc_t t)
{
    const struct window_bin *bin = w == NULL ? NULL : window_at(w, t);
    return bin == NULL ? NAN : window_mean(bin);
}

/* Time constant from the stretches that fall as fast as this tank ever does: tau = (T - room) / -slope. */
static double learn_tau(const struct window *temp, const struct window *room, utc_t from, utc_t to,
                        double off_c_h)
{
    double taus[POINTS_MAX];
    int n = 0;
    for (int64_t t = from.ms; t + 4 * temp->bin_ms <= to.ms && n < POINTS_MAX; t += temp->bin_ms) {
        double a = mean_at(temp, (utc_t){ t }), b = mean_at(temp, (utc_t){ t + 4 * temp->bin_ms });
        double r = mean_at(room, (utc_t){ t + 2 * temp->bin_ms });
        double slope = (b - a) / (4.0 * (double)temp->bin_ms / (double)MS_PER_HOUR);
        double gap = (a + b) / 2 - r;
        if (slope < 0.8 * off_c_h && gap > 1.0)
            taus[n++] = gap / -slope;
    }
    if (n < 6)
        return NAN;
    qsort(taus, (size_t)n, sizeof *taus, compare_double);
    return share_of(taus, n, 0.5);
}

void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now)
{
    double means[POINTS_MAX], slopes[POINTS_MAX];
    int n = 0, m = 0;
    utc_t from = { now.ms - LEARN_SPAN_MS }, to = { now.ms - LEARN_SKIP_MS };
    for (int64_t t = from.ms; t <= to.ms && n < POINTS_MAX; t += temp->bin_ms) {
        double a = mean_at(temp, (utc_t){ t }), b = mean_at(temp, (utc_t){ t + 4 * temp->bin_ms });
        if (isnan(a))
            continue;
        means[n++] = a;
        if (!isnan(b))
            slopes[m++] = (b - a) / (4.0 * (double)temp->bin_ms / (double)MS_PER_HOUR);
    }
    h->learnt_at = now;
    if (n < LEARN_LEAST_BINS || m < LEARN_LEAST_BINS / 2)
        return;
    qsort(means, (size_t)n, sizeof *means, compare_double);
    qsort(slopes, (size_t)m, sizeof *slopes, compare_double);
    h->band_lo_c = share_of(means, n, BAND_TAIL);
    h->band_hi_c = share_of(means, n, 1 - BAND_TAIL);
    h->off_c_h = fmin(share_of(slopes, m, SLOPE_TAIL), 0);
    h->on_c_h = fmax(share_of(slopes, m, 1 - SLOPE_TAIL), 0);
    h->learnt_h = (double)n * (double)temp->bin_ms / (double)MS_PER_HOUR;
    double tau_h = room == NULL ? NAN : learn_tau(temp, room, from, to, h->off_c_h);
    if (!isnan(tau_h))
        h->tau_h = tau_h;
}

static double tau_guess_h(const struct tank *tank)
{
    return TAU_H_PER_CBRT_L * cbrt(tank->volume_l) * (tank->lid ? 1.0 : TAU_OPEN_SHARE);
}

/* Least squares over the last bins that hold something. */
static double slope_now(const struct window *temp, utc_t now, double *mean)
{
    double st = 0, sv = 0, stt = 0, stv = 0;
    int n = 0;
    *mean = NAN;
    for (int i = SLOPE_BINS - 1; i >= 0; i--) {
        utc_t t = { now.ms - i * temp->bin_ms };
        double v = mean_at(temp, t);
        if (isnan(v))
            continue;
        double x = -(double)i * (double)temp->bin_ms / (double)MS_PER_HOUR;
        st += x;
        sv += v;
        stt += x * x;
        stv += x * v;
        n++;
        *mean = v;
    }
    double spread = n * stt - st * st;
    return n < SLOPE_BINS - 2 || spread <= 0 ? NAN : (n * stv - st * sv) / spread;
}

static void band_of(const struct heater *h, const struct tank *tank, struct heater_view *out)
{
    out->band_lo_c = h->band_lo_c;
    out->band_hi_c = h->band_hi_c;
    if (isnan(out->band_lo_c) && !isnan(tank->setpoint_c)) {
        out->band_lo_c = tank->setpoint_c - SETPOINT_BAND_C;
        out->band_hi_c = tank->setpoint_c + SETPOINT_BAND_C;
    }
}

void heater_look(const struct heater *h, const struct tank *tank, const struct window *temp,
                 const struct window *room, utc_t now, struct heater_view *out)
{
    *out = (struct heater_view){ .free_c_h = NAN, .share = NAN, .room_c = mean_at(room, now) };
    if (isnan(out->room_c))
        out->room_c = mean_at(room, (utc_t){ now.ms - (5 * MS_PER_MIN) });
    out->slope_c_h = slope_now(temp, now, &out->temp_c);
    band_of(h, tank, out);
    double gap = out->temp_c - out->room_c;
    if (!isnan(gap) && gap > GAP_LEAST_C) {
        double tau_h = isnan(h->tau_h) ? tau_guess_h(tank) : h->tau_h;
        out->free_c_h = -gap / tau_h;
    } else if (isnan(gap) && h->off_c_h < -0.05) {
        out->free_c_h = h->off_c_h;
    }
    if (!isnan(out->free_c_h) && !isnan(out->slope_c_h))
        out->share = 1 - out->slope_c_h / out->free_c_h;
}

static int32_t run(int32_t minutes, bool speaks)
{
    return speaks ? minutes + 1 : minutes > 0 ? minutes - 1 : 0;
}

enum heater_cause heater_judge(struct heater *h, const struct heater_view *view)
{
    if (isnan(view->share) || isnan(view->band_lo_c))
        return HEATER_UNKNOWN;
    bool below = view->temp_c < view->band_lo_c - BELOW_C;
    bool above = view->temp_c > view->band_hi_c + ABOVE_C;
    h->below_min = below ? run(h->below_min, view->share < DEAD_SHARE_MOST) : 0;
    h->weak_min =
        below ? run(h->weak_min, view->share >= DEAD_SHARE_MOST && view->share < WEAK_SHARE_MOST) : 0;
    h->above_min = above ? run(h->above_min, view->share > STUCK_SHARE_LEAST) : 0;
    if (h->below_min >= DEAD_MIN)
        return HEATER_DEAD;
    if (h->above_min >= STUCK_MIN)
        return HEATER_STUCK;
    if (h->weak_min >= WEAK_MIN)
        return HEATER_WEAK;
    return !below && !above ? HEATER_FINE : HEATER_UNKNOWN;
}

void heater_visit(struct heater *h, struct pack *p)
{
    pack_f64(p, &h->band_lo_c, -50, 100);
    pack_f64(p, &h->band_hi_c, -50, 100);
    pack_f64(p, &h->off_c_h, -100, 0);
    pack_f64(p, &h->on_c_h, 0, 100);
    pack_f64(p, &h->tau_h, 0, 10000);
    pack_f64(p, &h->learnt_h, 0, 1e6);
    pack_utc(p, &h->learnt_at);
    pack_i32(p, &h->below_min, 0, INT32_MAX);
    pack_i32(p, &h->above_min, 0, INT32_MAX);
    pack_i32(p, &h->weak_min, 0, INT32_MAX);
    pack_i32(p, &h->cause, HEATER_UNKNOWN, HEATER_WEAK);
}
