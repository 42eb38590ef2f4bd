#include "engine/source_watch.h"
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/against.h"
#include "model/journal_check.h"

int64_t engine_note_next(const struct engine *e)
{
    return e->notes + 1;
}

void engine_recall(struct engine *e, const struct journal_entry *entry)
{
    hand_recall(e, entry);
}

const struct told_change *told_change_near(const struct engine *e, int tank, utc_t t)
{
    const struct told_change *told = &e->tanks[tank].told;
    return utc_is_set(told->t) && llabs(told->t.ms - t.ms) <= TOLD_CHANGE_MS ? told : NULL;
}

void told_visit_change(struct told_change *told, struct pack *p)
{
    pack_utc(p, &told->t);
    pack_i64(p, &told->id, 0, INT64_MAX);
    pack_bool(p, &told->change);
    pack_f64(p, &told->litres, 0, 1e6);
}

void told_write(struct engine *e, enum journal_kind kind, const struct stream *stream,
                const struct command *c, const char *what, struct now now, struct effects *fx)
{
    struct journal_entry *entry = &effect_add(fx, EFFECT_JOURNAL, now)->u.journal;
    journal_clear(entry);
    entry->id = c->note.id > e->notes ? c->note.id : e->notes + 1;
    e->notes = entry->id;
    entry->kind = kind;
    entry->written = now.utc;
    entry->at = utc_is_set(c->at) && c->at.ms < now.utc.ms ? c->at : now.utc;
    snprintf(entry->place, sizeof entry->place, "%s", e->site->places[stream->place].text);
    snprintf(entry->who, sizeof entry->who, "%s", c->who);
    snprintf(entry->text, sizeof entry->text, "%s: %s%s%s", quantity_info(stream->quantity)->name, what,
             c->why[0] != '\0' ? "; " : "", c->why);
}

static int tank_at(const struct engine *e, const struct journal_entry *entry)
{
    int place = site_place_find(e->site, entry->place, strlen(entry->place));
    return place < 0 ? -1 : e->site->places[place].tank;
}

/* A step seen at that time has its reason now; one that is still to come will have it. */
static void take_change(struct engine *e, const struct journal_entry *entry, struct now now,
                        struct effects *fx, struct text *said)
{
    int tank = tank_at(e, entry);
    struct tank_state *t = &e->tanks[tank];
    if ((entry->kind != JOURNAL_CHANGE && entry->kind != JOURNAL_TOPOFF) || tank < 0 ||
        (utc_is_set(t->told.t) && t->told.t.ms > entry->at.ms))
        return;
    t->told = (struct told_change){ entry->at, entry->id, entry->kind == JOURNAL_CHANGE, entry->litres };
    const struct solids_step *step = solids_last_step(&t->solids);
    if (step != NULL && llabs(step->t.ms - entry->at.ms) <= TOLD_CHANGE_MS)
        text_printf(said, "; the step of %+.0f µS/cm seen then is explained by it",
                    step->after - step->before);
    tank_changed(fx, now, tank);
}

static void forget_change(struct engine *e, int64_t id)
{
    for (int i = 0; i < e->site->tank_count; i++)
        if (e->tanks[i].told.id == id)
            e->tanks[i].told = (struct told_change){ UTC_NONE, 0, false, NAN };
}

/* The first that disagrees with what the probes say is the one worth the words. */
static void compare(struct engine *e, const struct journal_entry *entry, struct now now, struct effects *fx,
                    struct text *said)
{
    int tank = tank_at(e, entry);
    struct against a;
    bool told = false;
    if (entry->kind != JOURNAL_TEST || tank < 0)
        return;
    for (int i = 0; i < entry->item_count; i++) {
        const struct journal_item *item = &entry->items[i];
        enum quantity q = quantity_find(item->name, strlen(item->name));
        if (q == Q_COUNT || !against_probe(e, tank, q, item->amount, item->sd, entry->at, &a))
            continue;
        doubt_hand(e, e->site->tanks[tank].place, &a, now, fx);
        if (!a.disagree || told)
            continue;
        text_put(said, ". ");
        against_words(&a, said);
        told = true;
    }
}

static enum status withdraw(struct engine *e, const struct journal_entry *entry, struct now now,
                            struct effects *fx, struct why *why)
{
    struct journal_entry *out = &effect_add(fx, EFFECT_JOURNAL, now)->u.journal;
    *out = *entry;
    out->written = now.utc;
    forget_change(e, entry->withdraws);
    hand_replace(e, entry->withdraws, NULL, now, fx);
    return why_say(why, STATUS_OK, "entry %lld no longer counts; it stays in the journal with your reason",
                   (long long)entry->withdraws);
}

enum status told_take(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why)
{
    struct journal_entry entry = c->note;
    if (entry.withdraws != 0)
        return withdraw(e, &entry, now, fx, why);
    enum status st = journal_check(e->site, &entry, now.utc, why);
    if (st != STATUS_OK)
        return st;
    entry.written = now.utc;
    if (!utc_is_set(entry.at))
        entry.at = now.utc;
    if (entry.id == 0)
        entry.id = engine_note_next(e);
    e->notes = entry.id > e->notes ? entry.id : e->notes;
    struct text said = text_over(why->text, sizeof why->text);
    text_printf(&said, entry.corrects != 0 ? "entry %lld now stands for %lld: " : "noted as entry %lld: ",
                (long long)entry.id, (long long)entry.corrects);
    journal_words(&entry, &said);
    if (entry.corrects != 0)
        forget_change(e, entry.corrects);
    take_change(e, &entry, now, fx, &said);
    hand_replace(e, entry.corrects, &entry, now, fx);
    compare(e, &entry, now, fx, &said);
    source_told(e, &entry, now, fx);
    effect_add(fx, EFFECT_JOURNAL, now)->u.journal = entry;
    return STATUS_OK;
}
