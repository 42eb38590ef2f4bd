#include "water/heat_fit.h"
#include "water/median.h"
#include "water/range.h"

#include <math.h>

#define NOISE_LEAST_C      0.03  /* half a step of the usual one-wire thermometer */
#define BISQUARE           4.685 /* 95 % efficiency for plain noise */
#define TAU_LEAST_H        0.02
#define TAU_MOST_H         500.0
#define DIFFERENCE_LEAST_C 0.5

/* The stretch and the current guess. */
struct fit {
    const struct heat_sample *s;
    size_t n;
    double *scratch;
    double tau, t0;
};

/* Walks the stretch with the exact answer to a room that runs straight between samples. */
struct walk {
    double forced; /* temperature of a tank that began at 0 */
    double left;   /* share of the start that is left */
};

static struct walk walk_step(struct walk at, const struct heat_sample *a, const struct heat_sample *b,
                             double tau)
{
    double q = (b->hours - a->hours) / tau;
    double e = exp(-q);
    double lag = (b->room_c - a->room_c) * -expm1(-q) / q;
    return (struct walk){ b->room_c - lag + (at.forced - a->room_c) * e, at.left * e };
}

static enum status check_samples(const struct heat_sample *s, size_t n, struct why *why)
{
    if (n > HEAT_FIT_MAX)
        return why_say(why, STATUS_INVALID, "%zu points are more than %d: thin them out", n, HEAT_FIT_MAX);
    double difference = 0.0;
    for (size_t i = 0; i < n; i++) {
        enum status st = range_check(why, "hours", s[i].hours, -1e6, 1e6, "h");
        if (st == STATUS_OK && (!isfinite(s[i].temp_c) || fabs(s[i].temp_c) > 200.0))
            st = range_check(why, "temperature", s[i].temp_c, -200.0, 200.0, "°C");
        if (st == STATUS_OK)
            st = range_check(why, "room temperature", s[i].room_c, -20.0, 60.0, "°C");
        if (st != STATUS_OK)
            return st;
        if (i > 0 && s[i].hours <= s[i - 1].hours)
            return why_say(why, STATUS_INVALID, "times must rise: point %zu is not later than the one before",
                           i + 1);
        difference = fmax(difference, fabs(s[i].temp_c - s[i].room_c));
    }
    if (n < 4)
        return why_say(why, STATUS_REFUSED,
                       "%zu points are too few for a time constant: at least 4, better 20", n);
    if (difference < DIFFERENCE_LEAST_C)
        return why_say(
            why, STATUS_REFUSED,
            "the water is never more than %.2f °C from the room: nothing to learn from, wait for a colder "
            "room or a longer pause of the heater",
            difference);
    return STATUS_OK;
}

/* Median over all pairs of the first n points of (rise of T)/(integral of room - T): 1/tau. 0 when there is
 * none. */
static double rate_of_pairs(struct fit *f, size_t n)
{
    double area[HEAT_FIT_MAX];
    area[0] = 0.0;
    for (size_t i = 1; i < n; i++) {
        const struct heat_sample *a = &f->s[i - 1], *b = &f->s[i];
        area[i] = area[i - 1] + 0.5 * (b->hours - a->hours) * (a->room_c - a->temp_c + b->room_c - b->temp_c);
    }
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++)
            if (fabs(area[j] - area[i]) > 1e-9)
                f->scratch[count++] = (f->s[j].temp_c - f->s[i].temp_c) / (area[j] - area[i]);
    return count > 0 ? median_of(f->scratch, count) : 0.0;
}

static double start_by_median(struct fit *f, size_t n)
{
    struct walk at = { 0.0, 1.0 };
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if (i > 0)
            at = walk_step(at, &f->s[i - 1], &f->s[i], f->tau);
        if (at.left > 0.05)
            f->scratch[count++] = (f->s[i].temp_c - at.forced) / at.left;
    }
    return median_of(f->scratch, count);
}

static void residuals(const struct fit *f, double tau, double t0, double *r)
{
    struct walk at = { 0.0, 1.0 };
    for (size_t i = 0; i < f->n; i++) {
        if (i > 0)
            at = walk_step(at, &f->s[i - 1], &f->s[i], tau);
        r[i] = f->s[i].temp_c - at.forced - t0 * at.left;
    }
}

static double typical_residual(struct fit *f)
{
    residuals(f, f->tau, f->t0, f->scratch);
    for (size_t i = 0; i < f->n; i++)
        f->scratch[i] = fabs(f->scratch[i]);
    return 1.4826 * median_of(f->scratch, f->n);
}

/* The best of several beginnings of the stretch: what spoils it (a heater) comes late. */
static bool find_start(struct fit *f)
{
    double best = (double)INFINITY, tau = 0.0, t0 = 0.0;
    for (int tenths = 3; tenths <= 10; tenths++) {
        size_t n = f->n * (size_t)tenths / 10;
        n = n < 4 ? 4 : n;
        double rate = rate_of_pairs(f, n);
        if (!(rate > 1.0 / TAU_MOST_H && rate < 1.0 / TAU_LEAST_H))
            continue;
        f->tau = 1.0 / rate;
        f->t0 = start_by_median(f, n);
        double typical = typical_residual(f);
        if (typical < best) {
            best = typical;
            tau = f->tau;
            t0 = f->t0;
        }
    }
    f->tau = tau;
    f->t0 = t0;
    return tau > 0.0;
}

static double weight(double r, double scale)
{
    double u = r / (BISQUARE * scale);
    return fabs(u) < 1.0 ? (1.0 - u * u) * (1.0 - u * u) : 0.0;
}

struct normal {
    double aa, ab, bb, ra, rb; /* normal equations in (start, ln tau) */
    double weights, count;
};

static struct normal normal_equations(const struct fit *f, double scale)
{
    double r[HEAT_FIT_MAX], beyond[HEAT_FIT_MAX];
    const double step = 1e-5;
    struct normal m = { 0 };
    residuals(f, f->tau, f->t0, r);
    residuals(f, f->tau * exp(step), f->t0, beyond);
    for (size_t i = 0; i < f->n; i++) {
        double w = weight(r[i], scale);
        double by_start = exp(-(f->s[i].hours - f->s[0].hours) / f->tau);
        double by_tau = (r[i] - beyond[i]) / step;
        m.aa += w * by_start * by_start;
        m.ab += w * by_start * by_tau;
        m.bb += w * by_tau * by_tau;
        m.ra += w * by_start * r[i];
        m.rb += w * by_tau * r[i];
        m.weights += w;
        m.count += w > 0.25 ? 1.0 : 0.0;
    }
    return m;
}

/* Gauss-Newton on the weighted points. False when they do not determine both unknowns. */
static bool refine(struct fit *f, struct normal *m, double *scale)
{
    for (int round = 0; round < 50; round++) {
        *scale = fmax(typical_residual(f), NOISE_LEAST_C);
        *m = normal_equations(f, *scale);
        double det = m->aa * m->bb - m->ab * m->ab;
        if (!(det > 1e-12 * m->aa * m->bb))
            return false;
        double d_start = (m->bb * m->ra - m->ab * m->rb) / det;
        double d_tau = (m->aa * m->rb - m->ab * m->ra) / det;
        d_tau = fmin(fmax(d_tau, -0.5), 0.5);
        f->t0 += d_start;
        f->tau *= exp(d_tau);
        if (!(f->tau > TAU_LEAST_H && f->tau < TAU_MOST_H))
            return false;
        if (fabs(d_tau) < 1e-10 && fabs(d_start) < 1e-9)
            break;
    }
    return true;
}

enum status heat_fit_tau(const struct heat_sample *s, size_t n, double *scratch, struct heat_fit *out,
                         struct why *why)
{
    enum status st = check_samples(s, n, why);
    if (st != STATUS_OK)
        return st;
    struct fit f = { s, n, scratch, 0.0, 0.0 };
    struct normal m;
    double scale;
    if (!find_start(&f))
        return why_say(
            why, STATUS_REFUSED,
            "the water does not approach the room: the heater was on, or the room's probe is elsewhere");
    if (!refine(&f, &m, &scale))
        return why_say(why, STATUS_REFUSED,
                       "the points do not determine a time constant: take a longer stretch");
    double residual = fmax(typical_residual(&f), NOISE_LEAST_C);
    double sd = residual * sqrt(m.aa / (m.aa * m.bb - m.ab * m.ab));
    if (sd > 0.5)
        return why_say(why, STATUS_REFUSED,
                       "the time constant could be anything near %.3g h (give or take %.0f %%): take a "
                       "longer stretch or a "
                       "larger difference to the room",
                       f.tau, sd * 100.0);
    double used = m.count / (double)n;
    *out = (struct heat_fit){ f.tau, sd * f.tau, residual, used, false };
    out->reliable = n >= 6 && used >= 0.6 && residual <= 0.3 && sd <= 0.1;
    return STATUS_OK;
}
