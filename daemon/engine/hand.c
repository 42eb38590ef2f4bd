#include "engine/state.h"

#include <math.h>
#include <string.h>

#define STALE_MS      (30 * MS_PER_DAY) /* hardness and minerals move slowly */
#define STALE_FAST_MS MS_PER_DAY        /* everything else */

static int64_t stale_after_ms(enum quantity q)
{
    bool slow = q == Q_GH || q == Q_KH || q == Q_CA || q == Q_MG;
    return slow ? STALE_MS : STALE_FAST_MS;
}

static enum flag judge(enum quantity q, double v)
{
    const struct gate_limits *l = &quantity_info(q)->gate;
    return v < l->suspect_lo || v > l->suspect_hi ? FLAG_SUSPECT : FLAG_GOOD;
}

const struct hand_test *hand_last(const struct engine *e, int tank, enum quantity q)
{
    const struct hand_tests *tests = &e->tanks[tank].hand[q];
    return tests->count == 0 ? NULL : &tests->items[0];
}

/* --- the few that are kept --- */

static void remove_at(struct hand_tests *tests, int i)
{
    tests->count--;
    memmove(&tests->items[i], &tests->items[i + 1], (size_t)(tests->count - i) * sizeof *tests->items);
}

/* True when it is the newest now. The same test told again (after a restart, from the store) keeps its
 * number.
 */
static bool insert(struct hand_tests *tests, const struct hand_test *test)
{
    int i = 0;
    while (i < tests->count && tests->items[i].t.ms > test->t.ms)
        i++;
    for (int k = i; k < tests->count && tests->items[k].t.ms == test->t.ms; k++)
        if (tests->items[k].value == test->value)
            return false;
    if (i == HAND_KEPT)
        return false;
    int last = tests->count < HAND_KEPT ? tests->count : HAND_KEPT - 1;
    memmove(&tests->items[i + 1], &tests->items[i], (size_t)(last - i) * sizeof *tests->items);
    tests->items[i] = *test;
    tests->count = last + 1;
    return i == 0;
}

/* True when the newest went. */
static bool drop(struct hand_tests *tests, int64_t id)
{
    bool newest = false;
    for (int i = tests->count - 1; i >= 0; i--)
        if (tests->items[i].id == id) {
            remove_at(tests, i);
            newest = i == 0;
        }
    return newest;
}

static int tank_of(const struct engine *e, const struct journal_entry *entry)
{
    int place = site_place_find(e->site, entry->place, strlen(entry->place));
    return place < 0 ? -1 : e->site->places[place].tank;
}

static bool is_test(const struct journal_item *item, enum quantity *q, struct hand_test *test)
{
    *q = item->role == JOURNAL_VALUE ? quantity_find(item->name, strlen(item->name)) : Q_COUNT;
    test->value = item->amount;
    test->sd = item->sd;
    return *q != Q_COUNT;
}

/* --- judging --- */

static void judge_newest(struct engine *e, int tank, enum quantity q, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    const struct hand_test *last = hand_last(e, tank, q);
    if (!isnan(value_now(e, place, q)))
        return; /* a probe speaks */
    if (last == NULL)
        rules_unfounded(e, place, q, now, fx);
    else if (last->t.ms >= now.utc.ms - stale_after_ms(q))
        rules_hand(e, tank, q, last->value, now, fx);
}

static bool take(struct hand_tests *tests, const struct journal_entry *entry, bool *newest)
{
    struct hand_test test = { .t = entry->at, .id = entry->id };
    enum quantity q;
    for (int i = 0; i < entry->item_count; i++)
        if (is_test(&entry->items[i], &q, &test) && insert(&tests[q], &test))
            newest[q] = true;
    return entry->item_count > 0;
}

void hand_replace(struct engine *e, int64_t old, const struct journal_entry *entry, struct now now,
                  struct effects *fx)
{
    int at = entry == NULL || entry->kind != JOURNAL_TEST ? -1 : tank_of(e, entry);
    for (int tank = 0; tank < e->site->tank_count; tank++) {
        struct hand_tests *tests = e->tanks[tank].hand;
        bool newest[Q_COUNT] = { false }, any = false;
        for (int q = 0; q < Q_COUNT && old != 0; q++) {
            newest[q] = drop(&tests[q], old);
            any = newest[q] || any;
            if (newest[q])
                doubt_untold(e, tank, (enum quantity)q, now, fx);
        }
        if (tank == at)
            any = take(tests, entry, newest) || any;
        for (int q = 0; q < Q_COUNT; q++)
            if (newest[q])
                judge_newest(e, tank, (enum quantity)q, now, fx);
        if (any)
            tank_changed(fx, now, tank);
    }
}

void hand_recall(struct engine *e, const struct journal_entry *entry)
{
    int tank = tank_of(e, entry);
    struct hand_test test = { .t = entry->at, .id = entry->id };
    enum quantity q;
    if (tank < 0 || entry->kind != JOURNAL_TEST)
        return;
    for (int i = 0; i < entry->item_count; i++)
        if (!is_test(&entry->items[i], &q, &test))
            continue;
        else if (journal_counts(entry))
            (void)insert(&e->tanks[tank].hand[q], &test);
        else
            (void)drop(&e->tanks[tank].hand[q], entry->id);
}

void hand_report(const struct engine *e, int tank, enum quantity q, struct now now, struct value_report *out)
{
    const struct hand_test *hand = hand_last(e, tank, q);
    if (hand == NULL || (out->origin == ORIGIN_PROBE && hand->t.ms <= out->t.ms))
        return;
    *out = (struct value_report){ .origin = ORIGIN_HAND,
                                  .value = hand->value,
                                  .t = hand->t,
                                  .flag = judge(q, hand->value),
                                  .stale = now.utc.ms - hand->t.ms > stale_after_ms(q),
                                  .per_day = NAN,
                                  .day_lo = NAN,
                                  .day_hi = NAN };
}

void hand_visit(struct hand_tests *tests, enum quantity q, struct pack *p)
{
    const struct quantity_info *info = quantity_info(q);
    pack_i32(p, &tests->count, 0, HAND_KEPT);
    for (int i = 0; i < tests->count && !p->bad; i++) {
        pack_f64(p, &tests->items[i].value, info->hard_lo, info->hard_hi);
        pack_f64(p, &tests->items[i].sd, 0, 1e9);
        pack_utc(p, &tests->items[i].t);
        pack_i64(p, &tests->items[i].id, 0, INT64_MAX);
    }
}
