#include "engine/traffic.h"

#include <string.h>

#define FLOOD_RING (TRAFFIC_FLOOD_OVER + 1)

void traffic_forget(struct traffic *t, int slot)
{
    t->alerts[slot].chattering = false;
    for (int i = 0; i < TRAFFIC_CHATTER; i++)
        t->alerts[slot].raised[i] = MONO_NONE;
}

void traffic_forget_all(struct traffic *t)
{
    for (int i = 0; i < FLOOD_RING; i++)
        t->raised[i] = MONO_NONE;
    memset(t->hours, 0, sizeof t->hours);
    memset(t->high, 0, sizeof t->high);
    t->hour_begin = MONO_NONE;
    traffic_flood_end(t);
}

void traffic_init(struct traffic *t, int alert_count, struct arena *arena)
{
    *t = (struct traffic){ .alert_count = alert_count };
    t->alerts = arena_take(arena, (size_t)alert_count, sizeof *t->alerts);
    for (int i = 0; i < alert_count; i++)
        traffic_forget(t, i);
    traffic_forget_all(t);
}

static void push(mono_t *ring, int count, mono_t now)
{
    memmove(ring + 1, ring, (size_t)(count - 1) * sizeof *ring);
    ring[0] = now;
}

/* The k-th newest lies within the span before now; the far end of the span counts as outside. */
static bool within(const mono_t *ring, int k, mono_t now, int64_t span)
{
    return mono_is_set(ring[k - 1]) && now.ms - ring[k - 1].ms < span;
}

static void count_hour(struct traffic *t, enum priority priority, mono_t now)
{
    if (!mono_is_set(t->hour_begin))
        t->hour_begin = now;
    while (now.ms - t->hour_begin.ms >= MS_PER_HOUR) {
        int64_t behind = now.ms - t->hour_begin.ms;
        if (behind >= (TRAFFIC_HOURS + 1) * MS_PER_HOUR) {
            memset(t->hours, 0, sizeof t->hours);
            memset(t->high, 0, sizeof t->high);
            t->hour_begin = now;
            break;
        }
        memmove(t->hours + 1, t->hours, (TRAFFIC_HOURS - 1) * sizeof *t->hours);
        memmove(t->high + 1, t->high, (TRAFFIC_HOURS - 1) * sizeof *t->high);
        t->hours[0] = t->high[0] = 0;
        t->hour_begin = mono_add(t->hour_begin, MS_PER_HOUR);
    }
    t->hours[0]++;
    t->high[0] += priority == PRIORITY_HIGH;
}

/* True when this raise makes it chatter. */
static bool count_alert(struct traffic_alert *a, mono_t now)
{
    push(a->raised, TRAFFIC_CHATTER, now);
    if (a->chattering || !within(a->raised, TRAFFIC_CHATTER, now, TRAFFIC_CALM_MS))
        return false;
    a->chattering = true;
    return true;
}

/* True when this raise makes it a flood. */
static bool count_all(struct traffic *t, enum priority priority, mono_t now)
{
    push(t->raised, FLOOD_RING, now);
    count_hour(t, priority, now);
    if (t->flood) {
        t->flood_raises++;
        return false;
    }
    if (!within(t->raised, FLOOD_RING, now, TRAFFIC_FLOOD_MS))
        return false;
    t->flood = true;
    t->flood_since = now;
    t->flood_raises = FLOOD_RING;
    return true;
}

struct traffic_verdict traffic_admit(struct traffic *t, int slot, enum traffic_kind kind,
                                     enum priority priority, mono_t now)
{
    struct traffic_alert *a = &t->alerts[slot];
    struct traffic_verdict v = { .announce = true };
    bool quiet = a->chattering && kind != TRAFFIC_UNMARKED;
    if (kind == TRAFFIC_RAISE)
        v.chatter_began = count_alert(a, now);
    if (kind != TRAFFIC_OTHER && !quiet)
        v.flood_began = count_all(t, priority, now);
    v.announce = !quiet && (!t->flood || priority == PRIORITY_HIGH);
    return v;
}

mono_t traffic_calm_at(const struct traffic *t, int slot)
{
    const struct traffic_alert *a = &t->alerts[slot];
    return a->chattering ? mono_add(a->raised[0], TRAFFIC_CALM_MS) : MONO_NEVER;
}

void traffic_calm(struct traffic *t, int slot)
{
    traffic_forget(t, slot);
}

mono_t traffic_flood_end_at(const struct traffic *t)
{
    return t->flood ? mono_add(t->raised[TRAFFIC_FLOOD_UNDER - 1], TRAFFIC_FLOOD_MS) : MONO_NEVER;
}

void traffic_flood_end(struct traffic *t)
{
    t->flood = false;
    t->flood_since = MONO_NONE;
    t->flood_raises = 0;
}

static uint32_t sum_day(const struct traffic *t, const uint32_t *hours, mono_t now)
{
    uint32_t sum = 0;
    for (int i = 0; mono_is_set(t->hour_begin) && i < TRAFFIC_HOURS; i++)
        if (now.ms - (t->hour_begin.ms - i * MS_PER_HOUR) < MS_PER_DAY)
            sum += hours[i];
    return sum;
}

uint32_t traffic_raises_day(const struct traffic *t, mono_t now)
{
    return sum_day(t, t->hours, now);
}

uint32_t traffic_high_day(const struct traffic *t, mono_t now)
{
    return sum_day(t, t->high, now);
}

int traffic_chattering(const struct traffic *t)
{
    int count = 0;
    for (int i = 0; i < t->alert_count; i++)
        count += t->alerts[i].chattering;
    return count;
}

/* What comes back later than now would hold for ever. */
static void visit_time(mono_t *at, struct pack *p, struct now now)
{
    pack_mono(p, at, now);
    if (p->reading && at->ms > now.mono.ms)
        *at = now.mono;
}

/* A flood without the raises that make one would never end. */
static bool sound(const struct traffic *t)
{
    bool whole = mono_is_set(t->flood_since);
    for (int i = 0; i < FLOOD_RING; i++)
        whole = whole && mono_is_set(t->raised[i]);
    return !t->flood || whole;
}

void traffic_visit(struct traffic *t, struct pack *p, struct now now)
{
    for (int i = 0; i < FLOOD_RING; i++)
        visit_time(&t->raised[i], p, now);
    pack_bool(p, &t->flood);
    visit_time(&t->flood_since, p, now);
    pack_u32(p, &t->flood_raises);
    for (int i = 0; i < TRAFFIC_HOURS; i++)
        pack_u32(p, &t->hours[i]);
    for (int i = 0; i < TRAFFIC_HOURS; i++)
        pack_u32(p, &t->high[i]);
    visit_time(&t->hour_begin, p, now);
    if (p->reading && !sound(t))
        p->bad = true;
}

void traffic_visit_alert(struct traffic *t, int slot, struct pack *p, struct now now)
{
    struct traffic_alert *a = &t->alerts[slot];
    for (int i = 0; i < TRAFFIC_CHATTER; i++)
        visit_time(&a->raised[i], p, now);
    pack_bool(p, &a->chattering);
    if (p->reading && a->chattering && !mono_is_set(a->raised[0]))
        p->bad = true;
}
