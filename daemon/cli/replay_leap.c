#include "cli/replay_leap.h"

enum leap_verdict leap_judge(const struct leap_queue *q, utc_t next)
{
    if (q->count == 0)
        return utc_is_set(q->before) && next.ms > q->before.ms + LEAP_MS ? LEAP_WAIT : LEAP_NONE;
    int64_t first = q->held[0].message.now.utc.ms, last = q->held[q->count - 1].message.now.utc.ms;
    int64_t took = last - first;
    /* Back near where it came from, as much later as the lines between took. */
    if (next.ms < last - LEAP_MS && next.ms >= q->before.ms && next.ms <= q->before.ms + took + LEAP_STAND_MS)
        return LEAP_FALSE;
    return next.ms < last || next.ms >= first + LEAP_STAND_MS || q->count == LEAP_HELD_MAX ? LEAP_ELAPSED
                                                                                           : LEAP_WAIT;
}

int64_t leap_each_way_ms(const struct leap_queue *q, utc_t next)
{
    int64_t took = q->held[q->count - 1].message.now.utc.ms - q->held[0].message.now.utc.ms;
    int64_t rest = next.ms - q->before.ms - took;
    return rest > 0 ? rest / 2 : 0;
}
