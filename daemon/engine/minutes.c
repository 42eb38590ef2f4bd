#include "engine/minutes.h"

#include <math.h>
#include <stdlib.h>

#define LEVEL_MIN     5
#define STALE_MIN     20
#define MAD_TO_SD     1.4826
#define STEP_LEAST_C  0.001
#define STEP_AS_NOISE 0.75
#define JUMP_LEAST_C  0.13
#define JUMP_NOISES   5.0
#define EVEN_VALUES   6
#define EVEN_SHARE    0.25 /* of the rise, in each half of the time */

static const struct minute *point(const struct minutes *m, int back)
{
    return &m->held[(m->at - back + MINUTES_HELD) % MINUTES_HELD];
}

static double mean_of(const struct minute *one)
{
    return one->sum / one->n;
}

void minutes_feed(struct minutes *m, double temp_c, utc_t t)
{
    int32_t minute = t.ms < 0 ? 0 : (int32_t)(t.ms / MS_PER_MIN);
    struct minute *newest = &m->held[m->at];
    if (m->count > 0 && minute < newest->minute)
        return;
    if (m->count > 0 && minute == newest->minute) {
        newest->n++;
        newest->sum += temp_c;
        return;
    }
    if (m->count > 0)
        m->at = (m->at + 1) % MINUTES_HELD;
    if (m->count < MINUTES_HELD)
        m->count++;
    m->held[m->at] = (struct minute){ minute, 1, temp_c };
}

void minutes_shift(struct minutes *m, double gain, double offset)
{
    for (int i = 0; i < m->count; i++) {
        struct minute *one = &m->held[(m->at - i + MINUTES_HELD) % MINUTES_HELD];
        one->sum = gain * one->sum + offset * one->n;
    }
}

double minutes_apart(const struct minutes *m)
{
    return m->count < 2 ? 0 : (double)(point(m, 0)->minute - point(m, m->count - 1)->minute) / (m->count - 1);
}

static int compare_double(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* A coarse probe that stands still most of the time errs by its step, not by noise. */
double minutes_noise(const struct minutes *m)
{
    double odd[MINUTES_HELD], step = INFINITY;
    int n = 0;
    for (int i = 0; i + 2 < m->count; i++) {
        double a = mean_of(point(m, i)), b = mean_of(point(m, i + 1)), c = mean_of(point(m, i + 2));
        odd[n++] = fabs(a - 2 * b + c);
        if (fabs(a - b) > STEP_LEAST_C)
            step = fmin(step, fabs(a - b));
    }
    if (n < MINUTES_LEAST)
        return 0;
    qsort(odd, (size_t)n, sizeof *odd, compare_double);
    if (odd[n / 2] < STEP_LEAST_C)
        return isinf(step) ? 0 : STEP_AS_NOISE * step;
    return MAD_TO_SD * odd[n / 2] / sqrt(6);
}

int minutes_since_step(const struct minutes *m, double fastest_c_h, double noise_c, int32_t *step_minute)
{
    *step_minute = 0;
    for (int i = 0; i + 1 < m->count; i++) {
        const struct minute *a = point(m, i + 1), *b = point(m, i);
        double most = fastest_c_h * (b->minute - a->minute) / 60.0 + JUMP_LEAST_C + JUMP_NOISES * noise_c;
        if (fabs(mean_of(b) - mean_of(a)) > most) {
            *step_minute = b->minute;
            return i + 1;
        }
    }
    return m->count;
}

double minutes_level(const struct minutes *m, int32_t now_min)
{
    double sum = 0;
    int n = 0;
    const struct minute *newest = point(m, 0);
    if (m->count == 0 || now_min - newest->minute > STALE_MIN)
        return NAN;
    for (int i = 0; i < m->count && newest->minute - point(m, i)->minute < LEVEL_MIN; i++) {
        sum += mean_of(point(m, i));
        n++;
    }
    return sum / n;
}

double minutes_slope(const struct minutes *m, int usable, int32_t now_min, int minutes, int *count)
{
    double st = 0, sv = 0, stt = 0, stv = 0;
    int n = 0;
    for (int i = 0; i < usable && now_min - point(m, i)->minute <= minutes; i++, n++) {
        double t = (point(m, i)->minute - now_min) / 60.0, v = mean_of(point(m, i));
        st += t;
        sv += v;
        stt += t * t;
        stv += t * v;
    }
    *count = n;
    double spread = n * stt - st * st;
    int span = n < 2 ? 0 : point(m, 0)->minute - point(m, n - 1)->minute;
    return n < MINUTES_LEAST || 2 * span < minutes || spread <= 0 ? NAN : (n * stv - st * sv) / spread;
}

bool minutes_rise_evenly(const struct minutes *m, int usable, int32_t now_min, int minutes, double noise_c)
{
    double sum[3] = { 0 };
    int n[3] = { 0 }, least = (int)lround(EVEN_VALUES * minutes_apart(m));
    if (minutes < least)
        minutes = least;
    for (int i = 0; i < usable && now_min - point(m, i)->minute < minutes; i++) {
        int third = 3 * (now_min - point(m, i)->minute) / minutes;
        if (third < 0) /* the clock was set back */
            continue;
        sum[third] += mean_of(point(m, i));
        n[third]++;
    }
    double late = sum[0] / n[0], middle = sum[1] / n[1], early = sum[2] / n[2];
    double all = late - early, values = n[0] + n[1] + n[2];
    double half = EVEN_SHARE * all - noise_c * sqrt(6 / values); /* of two means of a third each */
    return all > 0 && late - middle > half && middle - early > half;
}

struct span minutes_turns(const struct minutes *m, int usable, int32_t now_min, int minutes)
{
    struct span turns = { NAN, NAN };
    for (int i = 0; i + 2 < usable && now_min - point(m, i)->minute <= minutes; i++) {
        double mean = (mean_of(point(m, i)) + mean_of(point(m, i + 1)) + mean_of(point(m, i + 2))) / 3;
        turns = (struct span){ fmin(turns.lo, mean), fmax(turns.hi, mean) };
    }
    return turns;
}

void minutes_visit(struct minutes *m, struct pack *p)
{
    pack_i32(p, &m->count, 0, MINUTES_HELD);
    pack_i32(p, &m->at, 0, MINUTES_HELD - 1);
    for (int i = 0; i < m->count && !p->bad; i++) {
        struct minute *one = &m->held[(m->at - i + MINUTES_HELD) % MINUTES_HELD];
        pack_i32(p, &one->minute, 0, INT32_MAX);
        pack_i32(p, &one->n, 1, 1000000);
        pack_f64(p, &one->sum, -1e9, 1e9);
    }
}
