#include "engine/habit.h"

#include <math.h>
#include <string.h>

void habit_init(struct habit *h)
{
    *h = (struct habit){ .told = MONO_NONE };
    for (int i = 0; i < HABIT_RAISES; i++)
        h->raised[i] = MONO_NONE;
}

static bool within(mono_t t, mono_t now, int64_t span)
{
    return mono_is_set(t) && now.ms - t.ms < span;
}

static void count(struct habit *h, mono_t now)
{
    if (within(h->raised[0], now, HABIT_APART_MS))
        return;
    memmove(h->raised + 1, h->raised, sizeof h->raised - sizeof *h->raised);
    h->raised[0] = now;
}

static void note(struct habit *h, double beyond, mono_t now)
{
    if (!within(h->told, now, HABIT_SPAN_MS))
        h->beyond = 0;
    h->beyond = fmax(h->beyond, beyond); /* fmax passes over NaN */
    h->told = now;
}

bool habit_admits(struct habit *h, double beyond, mono_t now, bool *began)
{
    count(h, now);
    bool is_one = within(h->raised[HABIT_RAISES - 1], now, HABIT_SPAN_MS);
    bool worse = beyond > HABIT_WORSE * h->beyond;
    *began = is_one && !h->is_one;
    h->is_one = is_one;
    h->quiet = is_one && !*began && !worse && within(h->told, now, HABIT_TELL_MS);
    if (h->quiet)
        return false;
    note(h, beyond, now);
    return true;
}

void habit_note(struct habit *h, double beyond, mono_t now)
{
    count(h, now);
    note(h, beyond, now);
}

bool habit_told(const struct habit *h, double beyond, double margin, mono_t now)
{
    return within(h->told, now, HABIT_TELL_MS) && !(beyond > HABIT_WORSE * h->beyond + margin);
}

void habit_visit(struct habit *h, struct pack *p, struct now now)
{
    for (int i = 0; i < HABIT_RAISES; i++)
        pack_mono(p, &h->raised[i], now);
    pack_mono(p, &h->told, now);
    pack_f64(p, &h->beyond, 0, 1e12);
    pack_bool(p, &h->is_one);
    pack_bool(p, &h->quiet);
    for (int i = 0; p->reading && i < HABIT_RAISES; i++)
        if (h->raised[i].ms > now.mono.ms)
            h->raised[i] = now.mono;
    if (p->reading && (isnan(h->beyond) || h->told.ms > now.mono.ms))
        p->bad = true;
}
