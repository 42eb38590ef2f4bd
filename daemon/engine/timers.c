#include "engine/timers.h"

#include <assert.h>

void timers_init(struct timers *t, int ids, struct arena *arena)
{
    t->count = 0;
    t->ids = ids;
    t->heap = arena_take(arena, (size_t)ids, sizeof *t->heap);
    t->where = arena_take(arena, (size_t)ids, sizeof *t->where);
    t->due = arena_take(arena, (size_t)ids, sizeof *t->due);
    for (int i = 0; i < ids; i++) {
        t->where[i] = -1;
        t->due[i] = MONO_NEVER;
    }
}

static bool before(const struct timers *t, int a, int b)
{
    return t->due[a].ms != t->due[b].ms ? t->due[a].ms < t->due[b].ms : a < b;
}

static void put(struct timers *t, int at, int id)
{
    t->heap[at] = id;
    t->where[id] = at;
}

static void rise(struct timers *t, int at)
{
    int id = t->heap[at];
    while (at > 0 && before(t, id, t->heap[(at - 1) / 2])) {
        put(t, at, t->heap[(at - 1) / 2]);
        at = (at - 1) / 2;
    }
    put(t, at, id);
}

static void sink(struct timers *t, int at)
{
    int id = t->heap[at];
    for (int child = 2 * at + 1; child < t->count; child = 2 * at + 1) {
        if (child + 1 < t->count && before(t, t->heap[child + 1], t->heap[child]))
            child++;
        if (!before(t, t->heap[child], id))
            break;
        put(t, at, t->heap[child]);
        at = child;
    }
    put(t, at, id);
}

static void take_out(struct timers *t, int id)
{
    int at = t->where[id];
    int last = t->heap[--t->count];
    t->where[id] = -1;
    t->due[id] = MONO_NEVER;
    if (last == id)
        return;
    put(t, at, last);
    rise(t, at);
    sink(t, t->where[last]);
}

void timers_set(struct timers *t, int id, mono_t due)
{
    assert(id >= 0 && id < t->ids);
    if (due.ms == MONO_NEVER.ms) {
        if (t->where[id] >= 0)
            take_out(t, id);
        return;
    }
    t->due[id] = due;
    if (t->where[id] < 0)
        put(t, t->count++, id);
    rise(t, t->where[id]);
    sink(t, t->where[id]);
}

mono_t timers_due(const struct timers *t, int id)
{
    return t->where[id] < 0 ? MONO_NEVER : t->due[id];
}

mono_t timers_next(const struct timers *t)
{
    return t->count == 0 ? MONO_NEVER : t->due[t->heap[0]];
}

int timers_take(struct timers *t, mono_t now, bool inclusive)
{
    if (t->count == 0)
        return -1;
    int id = t->heap[0];
    if (t->due[id].ms > now.ms || (t->due[id].ms == now.ms && !inclusive))
        return -1;
    take_out(t, id);
    return id;
}
