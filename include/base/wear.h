/* How many bytes a day reach the disk, from a count that only grows: over the last day, or since it began. */
#ifndef LENTIC_BASE_WEAR_H
#define LENTIC_BASE_WEAR_H

#include "base/times.h"

#define WEAR_HOURS    25
#define WEAR_LEAST_MS (10 * MS_PER_MIN) /* before that no day can be told */

struct wear {
    int64_t bytes[WEAR_HOURS]; /* the count at these times, an hour apart; a ring */
    mono_t at[WEAR_HOURS];
    int count, first;
    int64_t now_bytes; /* the last count, -1: not known */
    mono_t now;
};

void wear_init(struct wear *w);
/* bytes: the count; below 0 when it cannot be read. */
void wear_note(struct wear *w, int64_t bytes, mono_t now);
/* -1: not known, or not yet. */
int64_t wear_per_day(const struct wear *w);

#endif
