#include "plan/diary.h"

#include <math.h>
#include <string.h>

#define TEST_DAYS         366 /* older ones are history */
#define TOPOFFS_LEAST     3
#define TOPOFF_SPAN_LEAST (4 * MS_PER_DAY)
#define BATCHES_LEAST     2
#define BATCH_SPAN_LEAST  (10 * MS_PER_DAY)

enum journal_kind diary_kind(int index)
{
    static const enum journal_kind kinds[DIARY_KINDS] = { JOURNAL_BATCH, JOURNAL_CHANGE, JOURNAL_TOPOFF,
                                                          JOURNAL_TEST, JOURNAL_CLEANING };
    return kinds[index];
}

utc_t diary_from(const struct diary *diary, enum journal_kind kind)
{
    bool long_ago = kind == JOURNAL_TEST || kind == JOURNAL_CLEANING;
    utc_t from = { diary->now.ms - (long_ago ? TEST_DAYS : DIARY_DAYS) * MS_PER_DAY };
    for (int i = 0; i < diary->site->salt_count && kind == JOURNAL_BATCH; i++) {
        utc_t since = diary->site->salts[i].stock_since;
        if (utc_is_set(since) && since.ms < from.ms)
            from = since;
    }
    return from;
}

static void forget_source(struct diary_source *s)
{
    for (int q = 0; q < Q_COUNT; q++)
        s->tests[q] = (struct source_value){ NAN, NAN, ORIGIN_NONE, UTC_NONE, NAN, NAN, 0 };
    s->ec_count = 0;
    s->renewed = UTC_NONE;
}

void diary_init(struct diary *diary)
{
    for (int i = 0; i < diary->site->source_count; i++)
        forget_source(&diary->sources[i]);
    for (int i = 0; i < diary->site->tank_count; i++) {
        struct diary_tank *t = &diary->tanks[i];
        *t = (struct diary_tank){ .changed = UTC_NONE, .topped = UTC_NONE, .topped_first = UTC_NONE };
        for (int q = 0; q < Q_COUNT; q++)
            t->tests[q] = (struct diary_test){ UTC_NONE, UTC_NONE, NAN, NAN };
    }
    for (int i = 0; i < diary->site->water_count; i++)
        diary->waters[i] = (struct diary_water){ 0, UTC_NONE, NAN, NAN, NAN, NAN, 0 };
    for (int i = 0; i < diary->site->salt_count; i++)
        diary->salts[i] = (struct diary_salt){ .first = UTC_NONE, .last = UTC_NONE };
}

/* Behind what is set already, or the first. */
static bool is_newer(utc_t t, utc_t than)
{
    return !utc_is_set(than) || t.ms > than.ms;
}

static int tank_at(const struct site *site, const char *place)
{
    int i = site_place_find(site, place, strlen(place));
    return i < 0 ? -1 : site->places[i].tank;
}

static void take_test(struct diary_test *test, double value, utc_t t)
{
    if (is_newer(t, test->t)) {
        test->t_before = test->t;
        test->before = test->value;
        test->t = t;
        test->value = value;
    } else if (is_newer(t, test->t_before)) {
        test->t_before = t;
        test->before = value;
    }
}

static void take_tests(struct diary_tank *tank, const struct journal_entry *e)
{
    for (int i = 0; i < e->item_count; i++) {
        const struct journal_item *item = &e->items[i];
        enum quantity q = quantity_find(item->name, strlen(item->name));
        if (item->role == JOURNAL_VALUE && q != Q_COUNT)
            take_test(&tank->tests[q], item->amount, e->at);
    }
}

static void take_topoff(struct diary_tank *tank, const struct journal_entry *e, utc_t now)
{
    if (is_newer(e->at, tank->topped))
        tank->topped = e->at;
    if (now.ms - e->at.ms > DIARY_TOPOFF_DAYS * MS_PER_DAY || isnan(e->litres))
        return;
    tank->topped_count++;
    tank->topped_l += e->litres;
    if (!utc_is_set(tank->topped_first) || e->at.ms < tank->topped_first.ms) {
        tank->topped_first = e->at;
        tank->topped_first_l = e->litres;
    }
}

static void take_batch(struct diary *diary, const struct journal_entry *e)
{
    for (int i = 0; i < diary->site->water_count; i++)
        if (strcmp(diary->site->waters[i].id, e->water) == 0 && is_newer(e->at, diary->waters[i].t))
            diary->waters[i] = (struct diary_water){ e->id,
                                                     e->at,
                                                     e->litres,
                                                     journal_amount(e, JOURNAL_VALUE, "ec"),
                                                     journal_amount(e, JOURNAL_VALUE, "gh"),
                                                     journal_amount(e, JOURNAL_VALUE, "kh"),
                                                     0 };
    for (int i = 0; i < diary->site->salt_count; i++) {
        double grams = journal_amount(e, JOURNAL_SALT, diary->site->salts[i].id);
        struct diary_salt *salt = &diary->salts[i];
        if (isnan(grams))
            continue;
        if (utc_is_set(diary->site->salts[i].stock_since) && e->at.ms >= diary->site->salts[i].stock_since.ms)
            salt->since_stock_g += grams;
        if (diary->now.ms - e->at.ms > DIARY_DAYS * MS_PER_DAY)
            continue;
        salt->batches++;
        salt->weighed_g += grams;
        if (is_newer(e->at, salt->last))
            salt->last = e->at;
        if (!utc_is_set(salt->first) || e->at.ms < salt->first.ms) {
            salt->first = e->at;
            salt->first_g = grams;
        }
    }
}

/* Of the batch mixed last: what was made of it, named or of that water since. */
static void take_use(struct diary *diary, const struct journal_entry *e)
{
    for (int i = 0; i < diary->site->water_count; i++) {
        struct diary_water *w = &diary->waters[i];
        bool of_it = e->batch != 0 ? e->batch == w->batch
                                   : strcmp(diary->site->waters[i].id, e->water) == 0 && e->at.ms >= w->t.ms;
        if (w->batch != 0 && of_it && !isnan(e->litres))
            w->used_l += e->litres;
    }
}

/* --- sources --- */

static void take_analysis(struct source_value *v, const struct journal_item *item, utc_t t)
{
    if (is_newer(t, v->t)) {
        v->value = item->amount;
        v->sd = item->sd;
        v->t = t;
        v->origin = ORIGIN_HAND;
    }
    v->lo = fmin(v->lo, item->amount);
    v->hi = fmax(v->hi, item->amount);
    v->tests++;
}

static void take_conductivity(struct diary_source *s, const struct journal_item *item, utc_t t)
{
    int at = 0;
    while (at < s->ec_count && s->ec[at].t.ms > t.ms)
        at++;
    if (at == DIARY_SOURCE_TESTS)
        return;
    int behind = (s->ec_count < DIARY_SOURCE_TESTS ? s->ec_count : DIARY_SOURCE_TESTS - 1) - at;
    memmove(&s->ec[at + 1], &s->ec[at], (size_t)behind * sizeof s->ec[0]);
    s->ec[at].t = t;
    s->ec[at].ec = item->amount;
    s->ec[at].sd = item->sd;
    s->ec_count = at + behind + 1;
}

static void take_source(struct diary_source *s, const struct journal_entry *e)
{
    if (e->kind == JOURNAL_CLEANING && is_newer(e->at, s->renewed))
        s->renewed = e->at;
    for (int i = 0; i < e->item_count && e->kind == JOURNAL_TEST; i++) {
        enum quantity q = quantity_find(e->items[i].name, strlen(e->items[i].name));
        if (e->items[i].role != JOURNAL_VALUE || q == Q_COUNT)
            continue;
        take_analysis(&s->tests[q], &e->items[i], e->at);
        if (q == Q_EC)
            take_conductivity(s, &e->items[i], e->at);
    }
}

void diary_take(struct diary *diary, const struct journal_entry *e)
{
    int place = site_place_find(diary->site, e->place, strlen(e->place));
    int tank = tank_at(diary->site, e->place), source = place < 0 ? -1 : site_source_at(diary->site, place);
    if (!journal_counts(e) || e->at.ms > diary->now.ms)
        return;
    if (e->kind == JOURNAL_BATCH)
        take_batch(diary, e);
    if (e->kind == JOURNAL_CHANGE || e->kind == JOURNAL_TOPOFF)
        take_use(diary, e);
    if (source >= 0)
        take_source(&diary->sources[source], e);
    if (tank < 0)
        return;
    struct diary_tank *t = &diary->tanks[tank];
    if (e->kind == JOURNAL_CHANGE && is_newer(e->at, t->changed)) {
        t->changed = e->at;
        t->changed_l = e->litres;
    } else if (e->kind == JOURNAL_TOPOFF) {
        take_topoff(t, e, diary->now);
    } else if (e->kind == JOURNAL_TEST) {
        take_tests(t, e);
    }
}

/* What the oldest made good fell before the span; the newest closes it. */
double diary_topoff_l_day(const struct diary *diary, int tank)
{
    const struct diary_tank *t = &diary->tanks[tank];
    if (t->topped_count < TOPOFFS_LEAST || t->topped.ms - t->topped_first.ms < TOPOFF_SPAN_LEAST)
        return NAN;
    return (t->topped_l - t->topped_first_l) * (double)MS_PER_DAY /
           (double)(t->topped.ms - t->topped_first.ms);
}

/* What was weighed last is still in use: the span runs to the last batch. */
double diary_salt_g_day(const struct diary *diary, int salt)
{
    const struct diary_salt *s = &diary->salts[salt];
    if (s->batches < BATCHES_LEAST || s->last.ms - s->first.ms < BATCH_SPAN_LEAST)
        return NAN;
    return (s->weighed_g - s->first_g) * (double)MS_PER_DAY / (double)(s->last.ms - s->first.ms);
}
