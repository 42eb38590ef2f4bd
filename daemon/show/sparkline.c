#include "show/sparkline.h"

#include <math.h>
#include <stdio.h>

#include "base/number.h"
#include "show/width.h"

static void extremes(const struct sparkline *s, double *lo, double *hi)
{
    *lo = *hi = NAN;
    for (int i = 0; i < s->count; i++) {
        *lo = fmin(*lo, s->values[i]);
        *hi = fmax(*hi, s->values[i]);
    }
    /* Two ends that read the same are one; what moves less than the last digit is level. */
    if (s->rows > 1 && *hi > *lo && *hi - *lo < pow(10, -s->decimals))
        *hi = *lo;
}

static void label(const struct sparkline *s, double v, char *buf, size_t cap)
{
    char number[64];
    if (number_format(number, sizeof number, v, s->decimals) == 0)
        snprintf(number, sizeof number, "?");
    snprintf(buf, cap, "%s%s%s", number, s->unit[0] != 0 ? " " : "", s->unit);
}

int sparkline_axis_width(const struct sparkline *s)
{
    double lo, hi;
    char a[96], b[96];
    extremes(s, &lo, &hi);
    label(s, lo, a, sizeof a);
    label(s, hi, b, sizeof b);
    int wa = width_of(a), wb = width_of(b);
    return (wa > wb ? wa : wb) + 2;
}

/* Eighths of the whole height; the lowest value still shows a line, so that it differs from a gap. */
static int eighths(const struct sparkline *s, double v, double lo, double hi)
{
    int full = 8 * s->rows;
    if (isnan(v))
        return 0;
    if (!(hi > lo))
        return full / 2;
    return 1 + (int)lround((v - lo) / (hi - lo) * (full - 1));
}

static void put_row(struct text *out, const struct sparkline *s, int below, double lo, double hi)
{
    static const char *const blocks[] = { " ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█" };
    for (int i = 0; i < s->count; i++) {
        int rest = eighths(s, s->values[i], lo, hi) - below;
        text_put(out, blocks[rest < 0 ? 0 : rest > 8 ? 8 : rest]);
    }
    text_put(out, "\n");
}

void sparkline_put(struct text *out, const struct sparkline *s)
{
    double lo, hi;
    int axis = sparkline_axis_width(s);
    extremes(s, &lo, &hi);
    if (isnan(lo))
        return;
    for (int row = s->rows - 1; row >= 0; row--) {
        char text[96] = "";
        bool edge = row == s->rows - 1 || row == 0;
        if (s->rows > 1) {
            edge = edge && (row > 0 || hi > lo);
            if (edge)
                label(s, row == 0 ? lo : hi, text, sizeof text);
            width_put(out, text, axis - 2, true);
            text_put(out, edge ? " ┤" : " │");
        }
        put_row(out, s, 8 * row, lo, hi);
    }
}
