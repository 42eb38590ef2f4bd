/* Which wall clock to believe. A box without a battery clock starts somewhere in the past; a wrong time
 * server or a repaired battery makes it jump.
 *
 * A clock that is not trusted yet, or that has just jumped ahead of the boot clock by more than 2 min and has
 * not stood there for 5 min, is in doubt: readings without a believed time of their own feed the alarms at
 * once, but wait with their boot-clock stamps until the wall clock is believed, and are then filled in with
 * their true times. A step back is believed at once. For the files of this layer. */
#ifndef LENTIC_ENGINE_TIMEKEEP_H
#define LENTIC_ENGINE_TIMEKEEP_H

#include "base/arena.h"
#include "base/pack.h"
#include "engine/engine.h"

#define UNTIMED_MAX 64 /* a stream: when it is full every second one goes, counted as thinned */

/* A reading that waits for its time. */
struct untimed {
    mono_t at;
    double sent, value;  /* NaN: missing or unreadable */
    int32_t kind, basis; /* enum sample_kind, enum time_basis */
};

struct waiting_room {
    struct untimed *items; /* UNTIMED_MAX */
    int32_t count;
};

struct timekeep {
    bool known;                         /* offset_ms is believed */
    bool sure;                          /* the clock is believed now */
    bool doubt;                         /* it jumped ahead */
    int64_t offset_ms, doubt_offset_ms; /* wall clock less boot clock */
    mono_t doubt_since;
    bool waiting; /* some reading waits */
    uint32_t thinned;
};

void timekeep_init(struct timekeep *k, struct now now);

/* At every wake-up: looks at the two clocks and tells what is new of them. */
void timekeep_follow(struct engine *e, struct now now, struct effects *fx);

/* Fills in what waited; true while more is to be done. */
bool timekeep_fill(struct engine *e, struct now now, struct effects *fx);

void timekeep_hold(struct engine *e, int stream, const struct reading *r, int kind, struct now now);

/* Feeds the alarms with a value that is fresh although no wall time is to be had for it. */
void timekeep_feed(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx);

/* What is believed of the wall clock outlives a restart. Hands out the now in whose frame boot-clock times
 * are packed and unpacked: the believed wall time, so that a clock that was wrong when the state was written,
 * or is when it is read, moves no deadline. Writing: before everything else; reading: as the first section.
 */
struct now timekeep_visit(struct timekeep *k, struct pack *p, struct now now);

void waiting_room_init(struct waiting_room *w, struct arena *arena);
void waiting_room_visit(struct waiting_room *w, struct pack *p, struct now now);

#endif
