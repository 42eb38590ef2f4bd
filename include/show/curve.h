/* A curve of a stretch of history as a figure of HTML with SVG inside: the span of readings shaded, their
 * mean as a line, the animals' band behind it, work and water changes marked. It needs no scripts, stretches
 * to the width of the page while its letters keep their size, and what colour says, shape or words say too.
 * The page defines the classes and the pattern "work" (show/report_style). */
#ifndef LENTIC_SHOW_CURVE_H
#define LENTIC_SHOW_CURVE_H

#include "base/text.h"
#include "show/tally.h"

#define CURVE_POINTS_MAX 600 /* more are never drawn: about one a pixel of a page */

struct curve_stretch {
    utc_t from, to;
};

struct curve_mark {
    utc_t t;
    bool noted; /* a person wrote it down; else only the probes saw it */
};

struct curve_test { /* by hand */
    utc_t t;
    double value;
};

struct curve_tick {
    utc_t t;
    char label[24];
};

struct curve {
    const char *name; /* "temperature": begins the title */
    const char *unit; /* "" for none */
    const char *told; /* for those who do not see it: what the curve shows, in words */
    int decimals;
    double least_span; /* of the axis: noise shall not look like a storm */
    utc_t from, to;
    const struct tally_point *points;
    int count;
    int64_t break_ms; /* points further apart are not joined */
    struct span band;
    const struct curve_stretch *work, *alerts;
    int work_count, alert_count;
    const struct curve_mark *marks;
    int mark_count;
    const struct curve_test *tests;
    int test_count;
    const struct curve_tick *ticks;
    int tick_count;
};

struct curve_scale {
    double lo, hi, step; /* axis from lo to hi, a line every step */
};

/* Holds every point and test, is at least least_span high, and takes in an edge of the band that is near.
 * False when there is nothing to draw. */
bool curve_scale_of(const struct curve *c, struct curve_scale *out);

/* The whole figure; nothing when there is nothing to draw. */
void curve_put(struct text *out, const struct curve *c);

#endif
