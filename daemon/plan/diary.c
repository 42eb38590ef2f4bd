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
    static const enum journal_kind kinds[DIARY_KINDS] = { JOURNAL_CHANGE, JOURNAL_TOPOFF, JOURNAL_BATCH,
                                                          JOURNAL_TEST };
    return kinds[index];
}

utc_t diary_from(const struct diary *diary, enum journal_kind kind)
{
    utc_t from = { diary->now.ms - (kind == JOURNAL_TEST ? TEST_DAYS : DIARY_DAYS) * MS_PER_DAY };
    for (int i = 0; i < diary->site->salt_count && kind == JOURNAL_BATCH; i++) {
        utc_t since = diary->site->salts[i].stock_since;
        if (utc_is_set(since) && since.ms < from.ms)
            from = since;
    }
    return from;
}

void diary_init(struct diary *diary)
{
    for (int i = 0; i < diary->site->tank_count; i++) {
        struct diary_tank *t = &diary->tanks[i];
        *t = (struct diary_tank){ .changed = UTC_NONE, .topped = UTC_NONE, .topped_first = UTC_NONE };
        for (int q = 0; q < Q_COUNT; q++)
            t->tests[q] = (struct diary_test){ UTC_NONE, UTC_NONE, NAN, NAN };
    }
    for (int i = 0; i < diary->site->water_count; i++)
        diary->waters[i] = (struct diary_water){ 0, UTC_NONE, NAN, NAN, NAN, NAN };
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
                                                     journal_amount(e, JOURNAL_VALUE, "kh") };
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

void diary_take(struct diary *diary, const struct journal_entry *e)
{
    int tank = tank_at(diary->site, e->place);
    if (!journal_counts(e) || e->at.ms > diary->now.ms)
        return;
    if (e->kind == JOURNAL_BATCH)
        take_batch(diary, e);
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
