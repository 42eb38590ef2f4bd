#include "app/notebook.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "model/journal_check.h"

/* --- in memory --- */

void notebook_fini(struct notebook *book)
{
    free(book->items);
    *book = (struct notebook){ NULL, 0, 0 };
}

static struct journal_entry *find(struct notebook *book, int64_t id)
{
    for (size_t i = 0; i < book->count; i++)
        if (book->items[i].id == id)
            return &book->items[i];
    return NULL;
}

static void mark_withdrawn(struct journal_entry *old, const struct journal_entry *e)
{
    if (old == NULL || utc_is_set(old->withdrawn))
        return;
    old->withdrawn = e->written;
    snprintf(old->withdrawn_by, sizeof old->withdrawn_by, "%s", e->who);
    snprintf(old->withdrawn_why, sizeof old->withdrawn_why, "%s", e->text);
}

void notebook_add(struct notebook *book, const struct journal_entry *e)
{
    struct journal_entry *old = e->corrects != 0 ? find(book, e->corrects) : NULL;
    if (e->withdraws != 0) {
        mark_withdrawn(find(book, e->withdraws), e);
        return;
    }
    if (old != NULL)
        old->superseded_by = e->id;
    if (book->count == book->cap) {
        size_t cap = book->cap == 0 ? 32 : 2 * book->cap;
        struct journal_entry *items = realloc(book->items, cap * sizeof *items);
        if (items == NULL)
            return;
        book->items = items;
        book->cap = cap;
    }
    book->items[book->count++] = *e;
}

static enum status find_in_memory(void *context, int64_t id, struct journal_entry *out)
{
    struct journal_entry *e = find(context, id);
    if (e == NULL)
        return STATUS_NONE;
    *out = *e;
    return STATUS_OK;
}

static int64_t latest_in_memory(void *context, const char *water, utc_t at)
{
    const struct notebook *book = context;
    int64_t id = 0;
    utc_t best = { at.ms - NOTEBOOK_BATCH_MS };
    for (size_t i = 0; i < book->count; i++) {
        const struct journal_entry *e = &book->items[i];
        if (e->kind != JOURNAL_BATCH || !journal_counts(e) || strcmp(e->water, water) != 0 ||
            e->at.ms > at.ms || e->at.ms <= best.ms)
            continue;
        best = e->at;
        id = e->id;
    }
    return id;
}

static int64_t last_in_memory(void *context)
{
    const struct notebook *book = context;
    return book->count == 0 ? 0 : book->items[book->count - 1].id;
}

static void each_in_memory(void *context, enum journal_kind kind, utc_t from,
                           void (*one)(void *context, const struct journal_entry *e), void *one_context)
{
    const struct notebook *book = context;
    for (size_t i = 0; i < book->count; i++)
        if (book->items[i].kind == kind && book->items[i].at.ms >= from.ms)
            one(one_context, &book->items[i]);
}

struct notebook_source notebook_source_of(struct notebook *book)
{
    return (struct notebook_source){ book, find_in_memory, latest_in_memory, each_in_memory, last_in_memory };
}

/* --- joining --- */

static enum status look_up(const struct notebook_source *source, int64_t id, struct journal_entry *old,
                           struct why *why)
{
    enum status st = source->find(source->context, id, old);
    if (st == STATUS_NONE)
        return why_say(why, STATUS_REFUSED,
                       "there is no entry %lld in the journal; lentic note --list names them", (long long)id);
    if (st != STATUS_OK)
        return why_say(why, STATUS_REFUSED, "the journal cannot be read now: try again later");
    return STATUS_OK;
}

static enum status join_old(const struct notebook_source *source, struct command *c, utc_t now,
                            struct why *why)
{
    struct journal_entry old, *note = &c->note;
    enum status st = look_up(source, note->corrects != 0 ? note->corrects : note->withdraws, &old, why);
    if (st != STATUS_OK)
        return st;
    if (note->corrects != 0)
        return journal_amend(note, &old, why);
    /* Withdrawn at this very instant: the same request, run again after a restart. */
    if (old.superseded_by != 0 || (utc_is_set(old.withdrawn) && old.withdrawn.ms != now.ms))
        return why_say(why, STATUS_REFUSED, "entry %lld counts no longer already", (long long)old.id);
    note->kind = old.kind;
    memcpy(note->place, old.place, sizeof note->place);
    return STATUS_OK;
}

/* The water that went in: named, or the tank's own. */
static const char *water_of(const struct site *site, const struct journal_entry *note)
{
    int place = site_place_find(site, note->place, strlen(note->place));
    int tank = place < 0 ? -1 : site->places[place].tank;
    if (note->water[0] != '\0')
        return note->water;
    return tank < 0 || site->tanks[tank].water < 0 ? NULL : site->waters[site->tanks[tank].water].id;
}

static enum status join_batch(const struct notebook_source *source, const struct site *site,
                              struct journal_entry *note, utc_t now, struct why *why)
{
    struct journal_entry batch;
    const char *water = water_of(site, note);
    utc_t at = utc_is_set(note->at) ? note->at : now;
    if (note->batch == 0 && note->kind == JOURNAL_CHANGE && water != NULL)
        note->batch = source->latest_batch(source->context, water, at);
    if (note->batch == 0)
        return STATUS_OK;
    enum status st = look_up(source, note->batch, &batch, why);
    if (st == STATUS_OK && batch.kind != JOURNAL_BATCH)
        st = why_say(why, STATUS_REFUSED, "entry %lld is no batch but a %s", (long long)batch.id,
                     journal_kind_name(batch.kind));
    if (st == STATUS_OK && note->water[0] == '\0')
        snprintf(note->water, sizeof note->water, "%s", batch.water);
    return st;
}

int64_t notebook_number(const struct notebook_source *source, int64_t least)
{
    int64_t last = source->last(source->context);
    return last + 1 > least ? last + 1 : least;
}

enum status notebook_join(const struct notebook_source *source, const struct site *site, struct command *c,
                          utc_t now, struct why *why)
{
    enum status st = STATUS_OK;
    c->note.written = now;
    if (c->note.corrects != 0 || c->note.withdraws != 0)
        st = join_old(source, c, now, why);
    if (st == STATUS_OK && c->note.withdraws == 0)
        st = join_batch(source, site, &c->note, now, why);
    if (st == STATUS_OK && c->place < 0 && c->note.place[0] != '\0')
        c->place = site_place_find(site, c->note.place, strlen(c->note.place));
    return st;
}
