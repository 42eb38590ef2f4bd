/* A curve of blocks: one column a point, eight steps a row. */
#ifndef LENTIC_SHOW_SPARKLINE_H
#define LENTIC_SHOW_SPARKLINE_H

#include "base/text.h"

struct sparkline {
    const double *values; /* NaN: a gap */
    int count;
    int rows;     /* 1: a single line without axis; more: with an axis of lowest and highest */
    int decimals; /* of the axis */
    const char *unit;
};

/* Each row ends with a line feed. Nothing when every value is NaN. */
void sparkline_put(struct text *out, const struct sparkline *s);

/* Columns that the axis takes in front of the curve. */
int sparkline_axis_width(const struct sparkline *s);

#endif
