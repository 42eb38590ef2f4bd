/* All deadlines of the engine in one heap: the next one at once, a change in O(log n). Equal deadlines come
 * in the order of their ids, so that a run is repeatable. */
#ifndef LENTIC_ENGINE_TIMERS_H
#define LENTIC_ENGINE_TIMERS_H

#include <stdbool.h>
#include "base/arena.h"
#include "base/times.h"

struct timers {
    int count;   /* in the heap */
    int *heap;   /* ids */
    int *where;  /* id -> place in the heap, -1 */
    mono_t *due; /* by id */
    int ids;
};

void timers_init(struct timers *t, int ids, struct arena *arena);

/* MONO_NEVER takes it out. */
void timers_set(struct timers *t, int id, mono_t due);
mono_t timers_due(const struct timers *t, int id); /* MONO_NEVER when not set */

/* MONO_NEVER when none is set. */
mono_t timers_next(const struct timers *t);

/* Takes out the first timer due before `now` (or at it, when inclusive). -1: none. */
int timers_take(struct timers *t, mono_t now, bool inclusive);

#endif
