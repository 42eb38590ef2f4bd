#include "base/wear.h"

#include <string.h>

void wear_init(struct wear *w)
{
    memset(w, 0, sizeof *w);
    w->now_bytes = -1;
}

static mono_t newest(const struct wear *w)
{
    return w->at[(w->first + w->count - 1) % WEAR_HOURS];
}

void wear_note(struct wear *w, int64_t bytes, mono_t now)
{
    w->now_bytes = bytes;
    w->now = now;
    if (bytes < 0 || (w->count > 0 && now.ms - newest(w).ms < MS_PER_HOUR))
        return;
    if (w->count == WEAR_HOURS) {
        w->first = (w->first + 1) % WEAR_HOURS;
        w->count--;
    }
    int slot = (w->first + w->count++) % WEAR_HOURS;
    w->bytes[slot] = bytes;
    w->at[slot] = now;
}

int64_t wear_per_day(const struct wear *w)
{
    int64_t span_ms = w->count > 0 ? w->now.ms - w->at[w->first].ms : 0;
    if (w->now_bytes < 0 || span_ms < WEAR_LEAST_MS)
        return -1;
    return (int64_t)((double)(w->now_bytes - w->bytes[w->first]) / (double)span_ms * (double)MS_PER_DAY);
}
