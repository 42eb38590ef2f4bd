#include "show/curve.h"

#include <math.h>

#include "show/html.h"

#define WIDTH       1200 /* of the drawing, in its own units; it is stretched to the page */
#define HEIGHT      1000
#define LINES_MOST  5.0  /* of the axis */
#define EDGE_NEAR   0.6  /* of the height so far: an edge of the band so near is taken in */
#define HEADROOM    0.06 /* of the height: room above and below the curve */
#define FLAT_LEAST  1e-6 /* of the value: an axis has some height */
#define WORK_LEAST  0.5  /* per cent of the width, so that an hour's work can be seen in a month */
#define ALERT_LEAST 0.6

/* --- the axis --- */

static double nice_step(double span)
{
    double power = pow(10, floor(log10(span / LINES_MOST)));
    const double steps[] = { 1, 2, 5, 10 };
    for (int i = 0; i < 4; i++)
        if (span / (steps[i] * power) <= LINES_MOST)
            return steps[i] * power;
    return 10 * power;
}

static void take_in(double v, double *lo, double *hi)
{
    *lo = fmin(*lo, v);
    *hi = fmax(*hi, v);
}

bool curve_scale_of(const struct curve *c, struct curve_scale *out)
{
    double lo = INFINITY, hi = -INFINITY;
    for (int i = 0; i < c->count; i++)
        if (!isnan(c->points[i].mean)) {
            take_in(c->points[i].lo, &lo, &hi);
            take_in(c->points[i].hi, &lo, &hi);
        }
    for (int i = 0; i < c->test_count; i++)
        take_in(c->tests[i].value, &lo, &hi);
    if (lo > hi)
        return false;
    double least = fmax(c->least_span, fmax(fabs(lo), 1) * FLAT_LEAST);
    double short_of = fmax(least - (hi - lo), 0) / 2;
    lo -= short_of;
    hi += short_of;
    double near = (hi - lo) * EDGE_NEAR;
    if (c->band.lo < lo && c->band.lo > lo - near)
        lo = c->band.lo;
    if (c->band.hi > hi && c->band.hi < hi + near)
        hi = c->band.hi;
    double room = (hi - lo) * HEADROOM;
    *out = (struct curve_scale){ lo - room, hi + room, nice_step(hi - lo + 2 * room) };
    return true;
}

/* --- places in the drawing --- */

static double share_x(const struct curve *c, utc_t t)
{
    double share = (double)(t.ms - c->from.ms) / (double)(c->to.ms - c->from.ms);
    return fmin(fmax(share, 0), 1);
}

static double share_y(const struct curve_scale *s, double v)
{
    return (s->hi - v) / (s->hi - s->lo);
}

static int at_x(const struct curve *c, utc_t t)
{
    return (int)lround(share_x(c, t) * WIDTH);
}

static int at_y(const struct curve_scale *s, double v)
{
    return (int)lround(share_y(s, v) * HEIGHT);
}

static bool is_in_view(const struct curve *c, utc_t t)
{
    return t.ms >= c->from.ms && t.ms <= c->to.ms;
}

/* --- the curve: runs of points that belong together --- */

static bool is_joined(const struct curve *c, int i, int next)
{
    return next < c->count && !isnan(c->points[next].mean) && !isnan(c->points[i].mean) &&
           c->points[next].t.ms - c->points[i].t.ms <= c->break_ms;
}

static int end_of_run(const struct curve *c, int i)
{
    while (is_joined(c, i, i + 1))
        i++;
    return i;
}

/* A step of a path in as few letters as can be read: a minus parts numbers as well as a blank does. */
static void put_step(struct text *out, int dx, int dy)
{
    text_printf(out, dx < 0 ? "%d" : " %d", dx);
    text_printf(out, dy < 0 ? "%d" : " %d", dy);
}

struct pen {
    int x, y;
};

static void line_to(struct text *out, struct pen *pen, int x, int y)
{
    put_step(out, x - pen->x, y - pen->y);
    *pen = (struct pen){ x, y };
}

static struct pen move_to(struct text *out, int x, int y)
{
    text_printf(out, "M%d %dl", x, y);
    return (struct pen){ x, y };
}

static void put_mean(struct text *out, const struct curve *c, const struct curve_scale *s, int from, int to)
{
    struct pen pen = move_to(out, at_x(c, c->points[from].t), at_y(s, c->points[from].mean));
    /* A lonely point is a dot: a line without length, with a round cap. */
    if (from == to)
        put_step(out, 0, 0);
    for (int i = from + 1; i <= to; i++)
        line_to(out, &pen, at_x(c, c->points[i].t), at_y(s, c->points[i].mean));
}

/* Along the highest readings, and back along the lowest. */
static void put_span(struct text *out, const struct curve *c, const struct curve_scale *s, int from, int to)
{
    struct pen pen = move_to(out, at_x(c, c->points[from].t), at_y(s, c->points[from].hi));
    for (int i = from + 1; i <= to; i++)
        line_to(out, &pen, at_x(c, c->points[i].t), at_y(s, c->points[i].hi));
    for (int i = to; i >= from; i--)
        line_to(out, &pen, at_x(c, c->points[i].t), at_y(s, c->points[i].lo));
    text_put(out, "z");
}

static void put_path(struct text *out, const struct curve *c, const struct curve_scale *s, const char *of,
                     void (*put)(struct text *out, const struct curve *c, const struct curve_scale *s,
                                 int from, int to))
{
    text_printf(out, "<path class=\"%s\" d=\"", of);
    for (int i = 0; i < c->count; i++) {
        if (isnan(c->points[i].mean))
            continue;
        int end = end_of_run(c, i);
        put(out, c, s, i, end);
        i = end;
    }
    text_put(out, "\"/>");
}

/* --- behind the curve --- */

static double clamp(double v, double lo, double hi)
{
    return fmin(fmax(v, lo), hi);
}

static void put_edge(struct text *out, const struct curve_scale *s, double v)
{
    if (v >= s->lo && v <= s->hi)
        text_printf(out, "<path class=\"edge\" d=\"M0 %dh%d\"/>", at_y(s, v), WIDTH);
}

static void put_band(struct text *out, const struct curve *c, const struct curve_scale *s)
{
    if (isnan(c->band.lo) && isnan(c->band.hi))
        return;
    double lo = isnan(c->band.lo) ? s->lo : clamp(c->band.lo, s->lo, s->hi),
           hi = isnan(c->band.hi) ? s->hi : clamp(c->band.hi, s->lo, s->hi);
    text_printf(out, "<rect class=\"band\" x=\"0\" y=\"%d\" width=\"%d\" height=\"%d\"/>", at_y(s, hi), WIDTH,
                at_y(s, lo) - at_y(s, hi));
    put_edge(out, s, c->band.lo);
    put_edge(out, s, c->band.hi);
}

/* The lines stand at whole numbers of steps. */
static int first_line(const struct curve_scale *s)
{
    return (int)ceil(s->lo / s->step - 1e-9);
}

static int last_line(const struct curve_scale *s)
{
    return (int)floor(s->hi / s->step + 1e-9);
}

static void put_grid(struct text *out, const struct curve *c, const struct curve_scale *s)
{
    text_put(out, "<path class=\"grid\" d=\"");
    for (int line = first_line(s); line <= last_line(s); line++)
        text_printf(out, "M0 %dh%d", at_y(s, line * s->step), WIDTH);
    for (int i = 0; i < c->tick_count; i++)
        if (is_in_view(c, c->ticks[i].t))
            text_printf(out, "M%d 0v%d", at_x(c, c->ticks[i].t), HEIGHT);
    text_put(out, "\"/>");
}

/* --- over the curve, in per cent: these are not stretched --- */

static void put_stretches(struct text *out, const struct curve *c, const struct curve_stretch *list,
                          int count, double least, const char *form)
{
    for (int i = 0; i < count; i++) {
        double from = share_x(c, list[i].from) * 100, to = share_x(c, list[i].to) * 100;
        if (list[i].to.ms <= c->from.ms || list[i].from.ms >= c->to.ms)
            continue;
        double wide = fmax(to - from, least);
        text_printf(out, "<rect %s x=\"%.2f%%\" width=\"%.2f%%\"/>", form, fmin(from, 100 - wide), wide);
    }
}

static void put_marks(struct text *out, const struct curve *c)
{
    for (int i = 0; i < c->mark_count; i++) {
        double x = share_x(c, c->marks[i].t) * 100;
        if (!is_in_view(c, c->marks[i].t))
            continue;
        text_printf(out, "<line class=\"mark\" x1=\"%.2f%%\" x2=\"%.2f%%\" y1=\"0\" y2=\"100%%\"/>", x, x);
        text_printf(out, "<text class=\"mark\" x=\"%.2f%%\" y=\"10\" dx=\"%d\"%s>%s</text>", x,
                    x > 96 ? -2 : 2, x > 96 ? " text-anchor=\"end\"" : "", c->marks[i].noted ? "W" : "w");
    }
}

static void put_tests(struct text *out, const struct curve *c, const struct curve_scale *s)
{
    for (int i = 0; i < c->test_count; i++)
        if (is_in_view(c, c->tests[i].t))
            text_printf(out, "<circle class=\"test\" cx=\"%.2f%%\" cy=\"%.2f%%\" r=\"4\"/>",
                        share_x(c, c->tests[i].t) * 100, share_y(s, c->tests[i].value) * 100);
}

/* --- the letters beside it --- */

static int decimals_of(const struct curve *c, const struct curve_scale *s)
{
    int needed = (int)fmax(0, ceil(-log10(s->step) - 1e-9));
    return needed < c->decimals ? needed : c->decimals;
}

static void put_values(struct text *out, const struct curve *c, const struct curve_scale *s)
{
    text_put(out, "<div class=\"ys\" aria-hidden=\"true\">");
    for (int line = first_line(s); line <= last_line(s); line++) {
        text_printf(out, "<span style=\"top:%.1f%%\">", share_y(s, line * s->step) * 100);
        html_number(out, line * s->step, decimals_of(c, s));
        text_put(out, "</span>");
    }
    text_put(out, "</div>");
}

static void put_times(struct text *out, const struct curve *c)
{
    int shown = 0;
    text_put(out, "<div class=\"xs\" aria-hidden=\"true\">");
    for (int i = 0; i < c->tick_count; i++) {
        double x = share_x(c, c->ticks[i].t) * 100;
        if (!is_in_view(c, c->ticks[i].t) || x > 97)
            continue;
        text_printf(out, "<span%s style=\"left:%.1f%%\">", shown++ % 2 == 1 ? " class=\"alt\"" : "", x);
        html_put(out, c->ticks[i].label);
        text_put(out, "</span>");
    }
    text_put(out, "</div>");
}

static void put_caption(struct text *out, const struct curve *c)
{
    int decimals = c->decimals;
    text_put(out, "<figcaption>");
    html_element(out, "b", NULL, c->name);
    text_printf(out, "%s%s", c->unit[0] != '\0' ? " in " : "", c->unit);
    if (!isnan(c->band.lo) || !isnan(c->band.hi)) {
        text_put(out, " <span class=\"dim\">band ");
        text_put(out, isnan(c->band.lo) ? "up to " : isnan(c->band.hi) ? "from " : "");
        html_number(out, isnan(c->band.lo) ? c->band.hi : c->band.lo, decimals);
        if (!isnan(c->band.lo) && !isnan(c->band.hi)) {
            text_put(out, " to ");
            html_number(out, c->band.hi, decimals);
        }
        text_put(out, "</span>");
    }
    text_put(out, "</figcaption>");
}

static void put_drawing(struct text *out, const struct curve *c, const struct curve_scale *s)
{
    text_put(out, "<svg class=\"draw\" role=\"img\"><title>");
    html_put(out, c->told);
    text_printf(out,
                "</title><svg width=\"100%%\" height=\"100%%\" viewBox=\"0 0 %d %d\""
                " preserveAspectRatio=\"none\">",
                WIDTH, HEIGHT);
    put_band(out, c, s);
    put_grid(out, c, s);
    put_path(out, c, s, "span", put_span);
    put_path(out, c, s, "mean", put_mean);
    text_put(out, "</svg>");
    put_stretches(out, c, c->work, c->work_count, WORK_LEAST,
                  "class=\"work\" fill=\"url(#work)\" y=\"0\" height=\"100%\"");
    put_stretches(out, c, c->alerts, c->alert_count, ALERT_LEAST, "class=\"alert\" y=\"95%\" height=\"5%\"");
    put_marks(out, c);
    put_tests(out, c, s);
    text_put(out, "</svg>");
}

void curve_put(struct text *out, const struct curve *c)
{
    struct curve_scale s;
    if (!curve_scale_of(c, &s))
        return;
    text_put(out, "<figure>");
    put_caption(out, c);
    text_put(out, "<div class=\"plot\">");
    put_values(out, c, &s);
    put_drawing(out, c, &s);
    put_times(out, c);
    text_put(out, "</div></figure>\n");
}
