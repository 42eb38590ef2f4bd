/* Leaps of a capture's clock. A stamp far ahead of the one before may be an hour without messages, or a clock
 * that was wrong for a while: the lines behind it tell. Lines are held back until that is known. */
#ifndef LENTIC_CLI_REPLAY_LEAP_H
#define LENTIC_CLI_REPLAY_LEAP_H

#include "wire/capture.h"

#define LEAP_MS       (120 * MS_PER_S) /* stamps further ahead are looked at */
#define LEAP_STAND_MS (5 * MS_PER_MIN) /* standing for so long it was elapsed time */
#define LEAP_HELD_MAX 4096             /* lines; a fuller queue is elapsed time as well */

struct leap_queue {
    struct capture_line *held; /* LEAP_HELD_MAX, owned */
    int count;
    utc_t before; /* stamp of the line before the leap; UTC_NONE: none yet */
};

enum leap_verdict { LEAP_NONE, LEAP_WAIT, LEAP_ELAPSED, LEAP_FALSE };

/* Is what is held (its first line leapt) elapsed time or a wrong clock, next being the stamp behind it?
 * LEAP_WAIT: not yet known. With nothing held: LEAP_WAIT when next leaps, else LEAP_NONE. */
enum leap_verdict leap_judge(const struct leap_queue *q, utc_t next);

/* Of a false leap: the elapsed time of the step ahead, and of the one back to next. */
int64_t leap_each_way_ms(const struct leap_queue *q, utc_t next);

#endif
