#include "engine/heater_learn.h"

#include <math.h>
#include <stdlib.h>

#define LEARN_SPAN_MS     (2 * MS_PER_DAY)
#define LEARN_SKIP_MS     (60 * MS_PER_MIN) /* the newest stretch may be the beginning of a fault */
#define LEARN_LEAST_BINS  120               /* ten hours of 5 min bins */
#define POINTS_MAX        600
#define GAP_BINS          2    /* missing in a row that may be bridged */
#define STEP_BINS         4    /* slopes of history are taken over 20 min */
#define BEND_BINS         3    /* and to either side of a bend over 15 min */
#define FAST_BINS         2    /* both where the thermostat switches often */
#define FAST_SHARE        0.8  /* of the bends are found so too */
#define LONG_BINS         6    /* where the probe is too noisy, or the heater too gentle, for less */
#define STEEPER           0.12 /* of all slopes */
#define COOLING_LEAST_H   1.0  /* seen in all before it tells how fast the tank cools */
#define COOLING_LEAST_C_H 0.03
#define TAU_WITHIN        2.5 /* times the guess, or its part: else it was no cooling */
#define OTHER_SHARE       0.4 /* of the heater's: more is no lamp */
#define OTHER_LEAST       3
#define OTHER_TAIL        0.4 /* slopes that reach into the heating weigh upward */

#define BEND_LEAST_C_H 0.25 /* a heater that warms slower than this cannot be told from the room */
#define BEND_NOISES    4.0
#define BEND_SHARE     0.6 /* of the usual one: less is a lamp or a window */
#define RATED_LEAST    0.5 /* of what its power gives: less is noise, or a heater that is weak already */
#define BEND_MOST      1.7 /* more is a change of water */
#define OFF_SHARE      0.4
#define ON_SHARE       0.6
#define BENDS_LEAST    3
#define BENDS_SURE     6
#define BELOW_MOST     0.25 /* of the time: an edge that the tank stands under for longer is none */
#define NEW_SPREADS    4.0
#define SPREAD_LEAST_C 0.02
#define FAR_BACK_C_DAY 0.03
#define FAR_KEPT_C     0.3 /* from the edge: farther was a fault, or another setting of the dial */
#define MAD_TO_SD      1.4826

/* Where no bends are seen the band is taken between these shares of the 5 min means. */
#define BAND_LO_TAIL  0.015
#define BAND_HI_TAIL  0.98
#define HELD_GAP_C    1.0 /* always so much over the room: something heats */
#define HELD_RANGE_C  1.0
#define HELD_SPREAD_C 0.03
#define HELD_FAR      3.0 /* spreads */
/* An edge of that kind moves inwards only so fast: a warm week does not move the thermostat. */
#define BAND_HI_SINK_C_DAY 0.15

struct course {
    int n;
    double temp_c[POINTS_MAX], gap_c[POINTS_MAX]; /* NaN: not known */
    double bin_h;
    int64_t from_ms;
    int step, bend; /* bins that slopes and bends are taken over */
};

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

static double mean_at(const struct window *w, int64_t t_ms)
{
    const struct window_bin *bin = w == NULL ? NULL : window_at(w, (utc_t){ t_ms });
    return bin == NULL ? NAN : window_mean(bin);
}

/* Probes that speak every few minutes leave bins empty now and then. */
static void bridge(double *v, int n)
{
    int last = -1;
    for (int i = 0; i < n; i++) {
        if (isnan(v[i]))
            continue;
        if (last >= 0 && i - last > 1 && i - last <= GAP_BINS + 1)
            for (int k = last + 1; k < i; k++)
                v[k] = v[last] + (v[i] - v[last]) * (k - last) / (i - last);
        last = i;
    }
}

static int gather(const struct window *temp, const struct window *room, utc_t now, utc_t trouble_at,
                  struct course *c)
{
    int64_t from = now.ms - LEARN_SPAN_MS > trouble_at.ms ? now.ms - LEARN_SPAN_MS : trouble_at.ms;
    int known = 0;
    c->n = 0;
    c->from_ms = from;
    c->bin_h = (double)temp->bin_ms / (double)MS_PER_HOUR;
    for (int64_t t = from; t <= now.ms - LEARN_SKIP_MS && c->n < POINTS_MAX; t += temp->bin_ms) {
        c->temp_c[c->n] = mean_at(temp, t);
        known += !isnan(c->temp_c[c->n]);
        c->gap_c[c->n++] = mean_at(room, t);
    }
    bridge(c->temp_c, c->n);
    bridge(c->gap_c, c->n);
    for (int i = 0; i < c->n; i++)
        c->gap_c[i] = c->temp_c[i] - c->gap_c[i];
    return known;
}

/* --- slopes --- */

static double slope_at(const struct course *c, int i)
{
    return i + c->step >= c->n ? NAN : (c->temp_c[i + c->step] - c->temp_c[i]) / (c->step * c->bin_h);
}

static int hour_of(const struct course *c, int i)
{
    double ms = (double)c->from_ms + (i + c->step / 2.0) * c->bin_h * (double)MS_PER_HOUR;
    return (int)((int64_t)ms / MS_PER_HOUR % 24);
}

/* --- bends --- */

struct bends {
    int n, bin[POINTS_MAX];
    double at_c[POINTS_MAX], size_c_h[POINTS_MAX];
};

/* Long bends can do without single bins. */
static double level_at(const struct course *c, int i)
{
    if (c->bend < LONG_BINS)
        return c->temp_c[i];
    return (c->temp_c[i - 1] + c->temp_c[i] + c->temp_c[i + 1]) / 3;
}

static double bend_noise_c_h(const struct course *c, double noise_c)
{
    return noise_c * sqrt(c->bend < LONG_BINS ? 6 : 2) / (c->bend * c->bin_h);
}

static double bend_at(const struct course *c, int i)
{
    if (i <= c->bend || i + c->bend + 1 >= c->n)
        return NAN;
    return (level_at(c, i + c->bend) - 2 * level_at(c, i) + level_at(c, i - c->bend)) / (c->bend * c->bin_h);
}

static double noise_of(const struct course *c)
{
    double odd[POINTS_MAX];
    int n = 0;
    for (int i = 1; i + 1 < c->n; i++) {
        double d = fabs(c->temp_c[i + 1] - 2 * c->temp_c[i] + c->temp_c[i - 1]);
        if (!isnan(d))
            odd[n++] = d;
    }
    return n == 0 ? NAN : MAD_TO_SD * share_of(odd, n, 0.5) / sqrt(6);
}

/* No heat to the one side of it and all of that to the other, as far as room and cooling are known: a lamp, a
 * window and a change of water look otherwise. */
static bool is_switching(const struct heater *h, const struct course *c, int i, double sign, double size_c_h)
{
    double loss = c->gap_c[i] / h->tau_h, hours = c->bend * c->bin_h;
    double before = (level_at(c, i) - level_at(c, i - c->bend)) / hours + loss;
    double after = (level_at(c, i + c->bend) - level_at(c, i)) / hours + loss;
    double off = sign > 0 ? before : after, on = sign > 0 ? after : before;
    return isnan(loss) || (fabs(off) < OFF_SHARE * size_c_h && on > ON_SHARE * size_c_h);
}

/* The water goes on a little before the heat tells. */
static double turning_c(const struct course *c, int i, double sign)
{
    return sign * fmin(fmin(sign * c->temp_c[i - 1], sign * c->temp_c[i]), sign * c->temp_c[i + 1]);
}

/* sign +1: bends upward (it switches on), -1 downward. */
static void find_bends(const struct heater *h, const struct course *c, double sign, double least_c_h,
                       struct bends *out)
{
    out->n = 0;
    for (int i = c->bend; i + c->bend < c->n; i++) {
        double here = sign * bend_at(c, i);
        bool top = here >= least_c_h && is_switching(h, c, i, sign, here);
        for (int k = -c->bend; top && k <= c->bend; k++)
            top = !(sign * bend_at(c, i + k) > here);
        if (!top)
            continue;
        out->bin[out->n] = i;
        out->at_c[out->n] = turning_c(c, i, sign);
        out->size_c_h[out->n++] = here;
        i += c->bend - 1;
    }
}

static void keep_usual(struct bends *b, double full_c_h)
{
    int kept = 0;
    for (int i = 0; i < b->n; i++)
        if (b->size_c_h[i] > BEND_SHARE * full_c_h && b->size_c_h[i] < BEND_MOST * full_c_h) {
            b->bin[kept] = b->bin[i];
            b->at_c[kept] = b->at_c[i];
            b->size_c_h[kept++] = b->size_c_h[i];
        }
    b->n = kept;
}

static double middle_of(const double *values, int n)
{
    double sorted[POINTS_MAX];
    for (int i = 0; i < n; i++)
        sorted[i] = values[i];
    return share_of(sorted, n, 0.5);
}

/* Few of them tell little about their spread. */
static double spread_of(const double *values, int n, double middle, double noise_c)
{
    double off[POINTS_MAX];
    for (int i = 0; i < n; i++)
        off[i] = fabs(values[i] - middle);
    return fmax(fmax(SPREAD_LEAST_C, noise_c), MAD_TO_SD * share_of(off, n, 0.5)) * (1 + 2.0 / n);
}

/* The farthest but one of many: a change of cooler water makes it switch on farther down. */
static double farthest_of(const double *values, int n, double sign)
{
    double sorted[POINTS_MAX];
    int aside = n >= 10 ? 1 : 0;
    for (int i = 0; i < n; i++)
        sorted[i] = sign * values[i];
    qsort(sorted, (size_t)n, sizeof *sorted, compare_double);
    return sign * sorted[n - 1 - aside];
}

/* How far it went is forgotten slowly: the next cold night it goes there again. */
static void learn_edge(const struct bends *b, double noise_c, double sign, double days, double *edge_c,
                       double *sd_c, double *far_c)
{
    *edge_c = middle_of(b->at_c, b->n);
    *sd_c = spread_of(b->at_c, b->n, *edge_c, noise_c);
    double far = sign * farthest_of(b->at_c, b->n, sign);
    double before = fmin(sign * *far_c - days * FAR_BACK_C_DAY, sign * *edge_c + FAR_KEPT_C);
    *far_c = sign * fmax(far, before); /* fmax and fmin pass over what is not known */
}

static double share_below(const struct course *c, double edge_c)
{
    int known = 0, below = 0;
    for (int i = 0; i < c->n; i++) {
        known += !isnan(c->temp_c[i]);
        below += c->temp_c[i] < edge_c - SPREAD_LEAST_C;
    }
    return (double)below / known;
}

/* A few bends that say something new are no new thermostat, and none in the middle of its band is its edge.
 */
static bool is_sound(const struct heater *h, const struct course *c, const struct bends *on)
{
    double middle = middle_of(on->at_c, on->n);
    if (on->n >= BENDS_SURE)
        return true;
    return isnan(h->full_c_h) ? share_below(c, middle) < BELOW_MOST
                              : fabs(middle - h->band_lo_c) < NEW_SPREADS * h->lo_sd_c;
}

static void find_usual(const struct heater *h, const struct course *c, double sign, double noise_c,
                       struct bends *out)
{
    find_bends(h, c, sign, fmax(BEND_LEAST_C_H, BEND_NOISES * bend_noise_c_h(c, noise_c)), out);
    if (out->n > 0)
        keep_usual(out, middle_of(out->size_c_h, out->n));
}

/* A heater that warms the tank within minutes is smoothed away by long slopes. */
static void choose_spans(const struct heater *h, struct course *c, double noise_c)
{
    struct bends slow, fast;
    c->step = STEP_BINS;
    c->bend = BEND_BINS;
    find_usual(h, c, 1, noise_c, &slow);
    c->bend = FAST_BINS;
    find_usual(h, c, 1, noise_c, &fast);
    if (fast.n >= BENDS_SURE && fast.n >= FAST_SHARE * slow.n)
        c->step = FAST_BINS;
    else
        c->bend = BEND_BINS;
}

/* --- cooling --- */

/* The stretches between switching off and switching on again. Their sums, not their single slopes: picked by
 * size, noise would count for cooling. */
struct cooling {
    double hours, fell_c;         /* in all of them */
    double gap_hours, gap_fell_c; /* where the room is known: K h over it, and K fallen meanwhile */
};

static void add_stretch(const struct course *c, int from, int to, struct cooling *sum)
{
    for (int i = from; i < to; i++) {
        double fell = c->temp_c[i] - c->temp_c[i + 1], gap = (c->gap_c[i] + c->gap_c[i + 1]) / 2;
        if (isnan(fell))
            continue;
        sum->hours += c->bin_h;
        sum->fell_c += fell;
        sum->gap_hours += isnan(gap) ? 0 : gap * c->bin_h;
        sum->gap_fell_c += isnan(gap) ? 0 : fell;
    }
}

static struct cooling cooling_of(const struct course *c, const struct bends *on, const struct bends *off,
                                 int aside)
{
    struct cooling sum = { 0 };
    int next = 0;
    for (int i = 0; i < off->n; i++) {
        while (next < on->n && on->bin[next] <= off->bin[i])
            next++;
        bool again = i + 1 < off->n && next < on->n && off->bin[i + 1] < on->bin[next];
        if (next < on->n && !again)
            add_stretch(c, off->bin[i] + aside, on->bin[next] - aside, &sum);
    }
    return sum;
}

/* Noise that was taken for bends shows no cooling between them, or one that no tank has. */
static bool is_cooling(const struct cooling *sum, double guess_h)
{
    if (sum->hours < COOLING_LEAST_H || sum->fell_c < COOLING_LEAST_C_H * sum->hours)
        return false;
    double tau_h = sum->gap_hours / sum->gap_fell_c;
    return sum->gap_hours < HELD_GAP_C * sum->hours / 2 ||
           (tau_h > guess_h / TAU_WITHIN && tau_h < guess_h * TAU_WITHIN);
}

static void learn_cooling(struct heater *h, const struct cooling *sum)
{
    h->off_c_h = fmin(-sum->fell_c / sum->hours, 0);
    if (sum->gap_hours > HELD_GAP_C * sum->hours / 2)
        h->tau_h = sum->gap_hours / sum->gap_fell_c;
}

static bool learn_bends(struct heater *h, const struct course *c, double noise_c, double days)
{
    struct bends on, off;
    find_usual(h, c, 1, noise_c, &on);
    find_usual(h, c, -1, noise_c, &off);
    struct cooling sum = cooling_of(c, &on, &off, 1); /* bends are found within a bin */
    if (sum.hours < COOLING_LEAST_H)
        sum = cooling_of(c, &on, &off, 0);
    if (on.n < BENDS_LEAST || !is_sound(h, c, &on) || !is_cooling(&sum, h->tau_guess_h) ||
        middle_of(on.size_c_h, on.n) < RATED_LEAST * h->rated_c_h)
        return false;
    learn_cooling(h, &sum);
    h->full_c_h = middle_of(on.size_c_h, on.n);
    h->heating_seen = true;
    keep_usual(&off, h->full_c_h);
    learn_edge(&on, noise_c, -1, days, &h->band_lo_c, &h->lo_sd_c, &h->lo_least_c);
    if (off.n >= BENDS_LEAST)
        learn_edge(&off, noise_c, 1, days, &h->band_hi_c, &h->hi_sd_c, &h->hi_most_c);
    return off.n >= BENDS_LEAST;
}

/* Neither there nor a slope's length before and after it: else it may reach into the heating. */
static bool is_without_heat(const struct heater *h, const struct course *c, const double *other, int i)
{
    double most = OTHER_SHARE * h->full_c_h;
    int before = i - c->step / 2, after = i + c->step / 2;
    return fabs(other[i]) < most && !(before >= 0 && other[before] >= most) &&
           !(after < c->n && other[after] >= most);
}

/* What warms or cools beside the heater, by the hour of the day: lamps, sun, a warm shelf. */
static void learn_other(struct heater *h, const struct course *c)
{
    double other[POINTS_MAX];
    for (int i = 0; i < c->n; i++) {
        double gap = c->gap_c[i], loss = isnan(gap) || isnan(h->tau_h) ? -h->off_c_h : gap / h->tau_h;
        other[i] = slope_at(c, i) + loss;
    }
    for (int hour = 0; hour < 24; hour++) {
        double left[POINTS_MAX];
        int n = 0;
        for (int i = 0; i < c->n; i++)
            if (hour_of(c, i) == hour && is_without_heat(h, c, other, i))
                left[n++] = other[i];
        h->other_c_h[hour] = n < OTHER_LEAST ? NAN : share_of(left, n, OTHER_TAIL);
    }
}

/* --- without bends --- */

/* Always warmer than the room and even: a heater holds it, though no switching shows. */
static bool is_held(const struct course *c, double lo_c, double hi_c)
{
    int known = 0, warm = 0;
    for (int i = 0; i < c->n; i++) {
        known += !isnan(c->gap_c[i]);
        warm += c->gap_c[i] > HELD_GAP_C;
    }
    return known >= LEARN_LEAST_BINS && warm >= 0.95 * known && hi_c - lo_c < HELD_RANGE_C;
}

/* It was never seen to cool freely: the steeper slopes stand for that where no room is measured. */
static void guess_cooling(struct heater *h, const struct course *c)
{
    double slope[POINTS_MAX];
    int n = 0;
    for (int i = 0; i < c->n; i++)
        if (!isnan(slope_at(c, i)))
            slope[n++] = slope_at(c, i);
    if (n > 0)
        h->off_c_h = fmin(share_of(slope, n, STEEPER), 0);
}

static void learn_range(struct heater *h, const struct course *c, double days)
{
    double temps[POINTS_MAX];
    int n = 0;
    if (isnan(h->full_c_h))
        guess_cooling(h, c);
    for (int i = 0; i < c->n; i++)
        if (!isnan(c->temp_c[i]))
            temps[n++] = c->temp_c[i];
    double lo = share_of(temps, n, BAND_LO_TAIL), hi = share_of(temps, n, BAND_HI_TAIL);
    double middle = share_of(temps, n, 0.5);
    if (isnan(h->band_hi_c) || hi > h->band_hi_c || !h->heating_seen)
        h->band_hi_c = hi;
    else
        h->band_hi_c = fmax(hi, h->band_hi_c - days * BAND_HI_SINK_C_DAY);
    h->hi_most_c = fmax(h->band_hi_c, temps[n - 1]);
    h->hi_sd_c = fmax(HELD_SPREAD_C, (h->band_hi_c - middle) / 3);
    if (!h->heating_seen) /* a room nearly as warm hides the heater; where the tank has been before is no news
                           */
        h->lo_least_c = fmin(h->lo_least_c, lo);
    if (!isnan(h->full_c_h) || !is_held(c, lo, hi))
        return;
    h->heating_seen = true;
    h->tau_h = NAN;
    h->band_lo_c = lo;
    h->lo_sd_c = fmax(HELD_SPREAD_C, (middle - lo) / 3);
    /* Farther down it was a change of cooler water. */
    h->lo_least_c = fmax(temps[0], lo - HELD_FAR * h->lo_sd_c);
}

void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now)
{
    struct course c;
    double days = utc_is_set(h->learnt_at) ? (double)(now.ms - h->learnt_at.ms) / (double)MS_PER_DAY : 0;
    days = fmax(days, 0);
    int known = gather(temp, room, now, h->trouble_at, &c);
    h->learnt_at = now;
    if (known < LEARN_LEAST_BINS)
        return;
    double noise_c = noise_of(&c);
    choose_spans(h, &c, noise_c);
    bool learnt = learn_bends(h, &c, noise_c, days);
    if (!learnt) {
        c.bend = LONG_BINS;
        learnt = learn_bends(h, &c, noise_c, days);
    }
    /* Lamps are told from the heater only where that was seen to be off. */
    if (learnt)
        learn_other(h, &c);
    else
        learn_range(h, &c, days);
    h->learnt_h = known * c.bin_h;
}
