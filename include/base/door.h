/* Swinging door: which points of a series are needed so that a straight line between two kept neighbours is
 * nowhere further than `bound` from any point left out. After E. H. Bristol, "Swinging door trending"
 * (ISA 1990), here with the end point itself held to the corridor, which makes the bound strict. */
#ifndef LENTIC_BASE_DOOR_H
#define LENTIC_BASE_DOOR_H

#include <stdbool.h>
#include <stdint.h>

struct door {
    double bound;       /* > 0, in the unit of the series */
    int64_t longest_ms; /* between kept points; > 0 */
    int64_t from_ms, held_ms;
    double from, held;
    double lo, hi; /* slopes per ms that keep every point since `from` within the bound */
    int points;    /* since the door was opened: 0 none, 1 the point it swings from */
};

struct door door_open(double bound, int64_t longest_ms);

/* The next point, later than the last. True: the point before this one must be kept (the door then swings
 * from it). The first point and, when the series ends or breaks, the last one must be kept by the caller. */
bool door_pass(struct door *door, int64_t t_ms, double value);

#endif
