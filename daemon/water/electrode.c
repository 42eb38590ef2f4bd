#include "water/electrode.h"
#include "water/activity.h"
#include "water/range.h"

#include <math.h>

#define GAS_CONSTANT 8.31446261815324
#define FARADAY      96485.33212
#define ISO_PH       7.0

#define SLOPE_LEAST     0.50
#define SLOPE_MOST      1.15
#define OFFSET_MOST     60.0
#define OFFSET_SUSPECT  30.0
#define BUFFERS_NEAREST 0.5

static double nernst(double temp_c)
{
    return 1000.0 * GAS_CONSTANT * (temp_c + KELVIN_OFFSET) * log(10.0) / FARADAY;
}

static enum status check_temp(double temp_c, struct why *why)
{
    return range_check(why, "temperature", temp_c, 0.0, 60.0, "°C");
}

enum status electrode_slope(double temp_c, double *mv_per_ph, struct why *why)
{
    enum status st = check_temp(temp_c, why);
    if (st == STATUS_OK)
        *mv_per_ph = nernst(temp_c);
    return st;
}

/* Insertion sort: three points at most. */
static enum status sort_points(const struct electrode_point *points, int count,
                               struct electrode_point *sorted, struct why *why)
{
    for (int i = 0; i < count; i++) {
        enum status st = range_check(why, "buffer pH", points[i].buffer_ph, 1.0, 13.0, "");
        if (st == STATUS_OK)
            st = range_check(why, "electrode voltage", points[i].mv, -1000.0, 1000.0, "mV");
        if (st != STATUS_OK)
            return st;
        int at = i;
        for (; at > 0 && sorted[at - 1].buffer_ph > points[i].buffer_ph; at--)
            sorted[at] = sorted[at - 1];
        sorted[at] = points[i];
    }
    for (int i = 1; i < count; i++)
        if (sorted[i].buffer_ph - sorted[i - 1].buffer_ph < BUFFERS_NEAREST)
            return why_say(
                why, STATUS_REFUSED,
                "buffers pH %.2f and %.2f are the same or too near: a slope needs buffers at least %.1f "
                "apart, best 3",
                sorted[i - 1].buffer_ph, sorted[i].buffer_ph, BUFFERS_NEAREST);
    return STATUS_OK;
}

static enum status check_slope(double fraction, const char *between, struct why *why)
{
    if (fraction >= SLOPE_LEAST && fraction <= SLOPE_MOST)
        return STATUS_OK;
    if (fraction < -0.1)
        return why_say(why, STATUS_REFUSED,
                       "slope %.1f %%%s has the wrong sign: buffers exchanged, or the probe's wires",
                       fraction * 100, between);
    if (fraction < SLOPE_LEAST)
        return why_say(
            why, STATUS_REFUSED,
            "slope %.1f %%%s is next to nothing: cracked glass, a dry or dead electrode, or twice the same "
            "buffer",
            fraction * 100, between);
    return why_say(why, STATUS_REFUSED, "slope %.1f %%%s is more than any electrode gives: check the buffers",
                   fraction * 100, between);
}

static enum status fit_sides(const struct electrode_point *p, int count, double slope_mv,
                             struct electrode *out, struct why *why)
{
    for (int side = 0; side < count - 1; side++) {
        double fraction =
            (p[side].mv - p[side + 1].mv) / (slope_mv * (p[side + 1].buffer_ph - p[side].buffer_ph));
        enum status st = check_slope(fraction,
                                     count == 2  ? ""
                                     : side == 0 ? " on the acid side"
                                                 : " on the alkaline side",
                                     why);
        if (st != STATUS_OK)
            return st;
        out->slope_fraction[side] = fraction;
        if (count == 2)
            out->slope_fraction[1] = fraction;
    }
    if (count == 3)
        out->pivot_ph = p[1].buffer_ph;
    return STATUS_OK;
}

static int side_of(const struct electrode *e, double ph)
{
    return ph < e->pivot_ph ? 0 : 1;
}

/* Millivolts at the pivot: the offset belongs to pH 7, and the side on which pH 7 lies leads there. */
static double pivot_mv(const struct electrode *e, double slope_mv)
{
    return e->offset_mv - e->slope_fraction[side_of(e, ISO_PH)] * slope_mv * (e->pivot_ph - ISO_PH);
}

/* Root mean square distance from the least-squares line, and the line's slope. */
static void fit_line(const struct electrode_point *p, int count, double slope_mv,
                     struct electrode_quality *quality)
{
    double mean_ph = 0, mean_mv = 0, sxx = 0, sxy = 0, squares = 0;
    for (int i = 0; i < count; i++) {
        mean_ph += p[i].buffer_ph / count;
        mean_mv += p[i].mv / count;
    }
    for (int i = 0; i < count; i++) {
        sxx += (p[i].buffer_ph - mean_ph) * (p[i].buffer_ph - mean_ph);
        sxy += (p[i].buffer_ph - mean_ph) * (p[i].mv - mean_mv);
    }
    double line = sxy / sxx;
    for (int i = 0; i < count; i++) {
        double off = p[i].mv - mean_mv - line * (p[i].buffer_ph - mean_ph);
        squares += off * off;
    }
    quality->slope_percent = -100.0 * line / slope_mv;
    quality->residual_mv = sqrt(squares / count);
}

static enum electrode_health judge(double offset_mv, double slope_percent)
{
    if (slope_percent < 90.0)
        return ELECTRODE_REPLACE;
    if (slope_percent > 102.0 || fabs(offset_mv) > OFFSET_SUSPECT)
        return ELECTRODE_SUSPECT;
    return slope_percent < 95.0 ? ELECTRODE_AGEING : ELECTRODE_GOOD;
}

enum status electrode_fit(const struct electrode_point *points, int count, double temp_c,
                          struct electrode *out, struct electrode_quality *quality, struct why *why)
{
    struct electrode_point p[ELECTRODE_POINTS_MAX];
    struct electrode e = ELECTRODE_IDEAL;
    enum status st = check_temp(temp_c, why);
    if (st != STATUS_OK)
        return st;
    if (count < 1 || count > ELECTRODE_POINTS_MAX)
        return why_say(why, STATUS_INVALID, "a calibration takes one to three buffers, not %d", count);
    st = sort_points(points, count, p, why);
    double slope_mv = nernst(temp_c);
    if (st == STATUS_OK)
        st = fit_sides(p, count, slope_mv, &e, why);
    if (st != STATUS_OK)
        return st;
    int anchor = count == 3 ? 1 : 0;
    double lead = e.slope_fraction[side_of(&e, ISO_PH)];
    e.offset_mv = p[anchor].mv + lead * slope_mv * (p[anchor].buffer_ph - ISO_PH);
    if (fabs(e.offset_mv) > OFFSET_MOST)
        return why_say(
            why, STATUS_REFUSED,
            "offset %.1f mV at pH 7 is beyond %.0f mV: clean or replace the electrode, check the buffer",
            e.offset_mv, OFFSET_MOST);
    struct electrode_quality q = { 100.0, (double)NAN, ELECTRODE_GOOD };
    if (count == 2)
        q.slope_percent = 100.0 * e.slope_fraction[0];
    if (count == 3)
        fit_line(p, count, slope_mv, &q);
    q.health = judge(e.offset_mv, q.slope_percent);
    *out = e;
    *quality = q;
    return STATUS_OK;
}

enum status electrode_ph(const struct electrode *e, double mv, double temp_c, double *ph, struct why *why)
{
    enum status st = check_temp(temp_c, why);
    if (st == STATUS_OK)
        st = range_check(why, "electrode voltage", mv, -1000.0, 1000.0, "mV");
    if (st != STATUS_OK)
        return st;
    double slope_mv = nernst(temp_c);
    double above = pivot_mv(e, slope_mv) - mv;
    double value = e->pivot_ph + above / (slope_mv * e->slope_fraction[above < 0.0 ? 0 : 1]);
    if (!(value >= 0.0 && value <= 14.0))
        return why_say(why, STATUS_REFUSED,
                       "%.1f mV would be pH %.2f, which no water has: check the electrode", mv, value);
    *ph = value;
    return STATUS_OK;
}

enum status electrode_mv(const struct electrode *e, double ph, double temp_c, double *mv, struct why *why)
{
    enum status st = check_temp(temp_c, why);
    if (st == STATUS_OK)
        st = range_check(why, "pH", ph, 0.0, 14.0, "");
    if (st != STATUS_OK)
        return st;
    double slope_mv = nernst(temp_c);
    *mv = pivot_mv(e, slope_mv) - e->slope_fraction[side_of(e, ph)] * slope_mv * (ph - e->pivot_ph);
    return STATUS_OK;
}

/* DIN 19266 / NIST: phthalate, phosphate 1:1, borax, every 5 degrees from 0 to 50. */
static const struct {
    double nominal;
    double ph[11];
} buffers[] = {
    { 4.01, { 4.003, 3.999, 3.998, 3.999, 4.002, 4.008, 4.015, 4.024, 4.035, 4.047, 4.060 } },
    { 6.86, { 6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.834, 6.833 } },
    { 9.18, { 9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.038, 9.011 } },
};

enum status electrode_buffer_ph(double nominal_ph, double temp_c, double *ph, struct why *why)
{
    enum status st = range_check(why, "temperature", temp_c, 0.0, 50.0, "°C");
    if (st != STATUS_OK)
        return st;
    for (unsigned i = 0; i < sizeof buffers / sizeof *buffers; i++) {
        if (fabs(buffers[i].nominal - nominal_ph) > 0.005)
            continue;
        int low = temp_c >= 50.0 ? 9 : (int)(temp_c / 5.0);
        double part = temp_c / 5.0 - low;
        *ph = buffers[i].ph[low] + part * (buffers[i].ph[low + 1] - buffers[i].ph[low]);
        return STATUS_OK;
    }
    return why_say(why, STATUS_NONE,
                   "buffer pH %.2f is not one of 4.01, 6.86, 9.18: take its pH from the maker's table",
                   nominal_ph);
}
