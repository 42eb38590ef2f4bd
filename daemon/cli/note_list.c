/* The journal read back. */
#include "cli/note.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/number.h"
#include "plan/batch.h"
#include "wire/notes.h"

struct listing {
    const struct note_list_ask *ask;
    int count;
    bool json_begun;
    double litres; /* of changes and top-offs made from a batch */
};

static const char *local_time(utc_t t, char *buf, size_t cap)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(buf, cap, "%Y-%m-%d %H:%M", &tm) == 0)
        snprintf(buf, cap, "?");
    return buf;
}

static void put_state(const struct journal_entry *e)
{
    if (e->superseded_by != 0)
        printf("  [corrected by %lld]", (long long)e->superseded_by);
    if (utc_is_set(e->withdrawn))
        printf("  [withdrawn%s%s: %s]", e->withdrawn_by[0] != '\0' ? " by " : "", e->withdrawn_by,
               e->withdrawn_why);
}

static void print_entry(struct listing *l, const struct journal_entry *e)
{
    char when[32], words[512], json[NOTES_ENTRY_MAX];
    if (l->ask->json) {
        struct text out = text_over(json, sizeof json);
        notes_format(e, &out);
        printf("%s%s", l->json_begun ? ",\n" : "", json);
        l->json_begun = true;
        return;
    }
    struct text line = text_over(words, sizeof words);
    journal_words(e, &line);
    printf("%5lld  %s  %-10s %s%s%s", (long long)e->id, local_time(e->at, when, sizeof when),
           strncmp(e->place, "tank/", 5) == 0 ? e->place + 5 : e->place, words,
           e->who[0] != '\0' ? "  - " : "", e->who);
    put_state(e);
    putchar('\n');
}

static bool is_wanted(const struct note_list_ask *ask, const struct journal_entry *e)
{
    const char *id = strchr(e->place, '/');
    for (int i = 0; i < ask->place_count; i++)
        if (strcmp(ask->places[i], e->place) == 0 || (id != NULL && strcmp(ask->places[i], id + 1) == 0) ||
            strcmp(ask->places[i], e->water) == 0)
            return true;
    return ask->place_count == 0;
}

static void list_one(void *context, const struct journal_entry *e)
{
    struct listing *l = context;
    if (!is_wanted(l->ask, e))
        return;
    l->count++;
    if (!isnan(e->litres))
        l->litres += e->litres;
    print_entry(l, e);
}

static int unreadable(const struct note_list_ask *ask)
{
    return options_fail(ask->options, 3, "the journal cannot be read from the store");
}

int note_list(const struct note_list_ask *ask)
{
    struct listing l = { .ask = ask };
    struct journal_query query = JOURNAL_QUERY_ALL;
    query.from = ask->from;
    query.to = ask->to;
    query.also_void = ask->also_void;
    if (ask->json)
        printf("[");
    enum status st = store_reader_journal(ask->reader, &query, list_one, &l);
    if (ask->json)
        printf("]\n");
    if (st != STATUS_OK)
        return unreadable(ask);
    if (l.count == 0 && !ask->json)
        return options_fail(ask->options, 1,
                            "nothing is noted there for that time; --since 90d looks further back");
    return l.count > 0 ? 0 : 1;
}

/* --- a batch found backwards --- */

static void keep(void *context, const struct journal_entry *e)
{
    *(struct journal_entry *)context = *e;
}

static void print_check(const struct note_list_ask *ask, const struct journal_entry *batch)
{
    struct batch_check check;
    char buf[1024];
    struct text out = text_over(buf, sizeof buf);
    if (batch_check(ask->site, batch, &check) != STATUS_OK)
        return;
    batch_words(ask->site, &check, &out);
    printf("%s", buf);
}

int note_batch(const struct note_list_ask *ask, int64_t id)
{
    struct listing l = { .ask = ask };
    struct journal_entry batch;
    struct journal_query query = JOURNAL_QUERY_ALL;
    journal_clear(&batch);
    query.id = id;
    query.also_void = true;
    if (store_reader_journal(ask->reader, &query, keep, &batch) != STATUS_OK)
        return unreadable(ask);
    if (batch.id != id || batch.kind != JOURNAL_BATCH)
        return options_fail(ask->options, 1, "entry %lld is %s; lentic note --list names the batches",
                            (long long)id, batch.id == id ? "no batch" : "not in the journal");
    if (ask->json)
        printf("{\"batch\":");
    print_entry(&l, &batch);
    if (!ask->json)
        print_check(ask, &batch);
    printf(ask->json ? ",\"used\":[" : "went into:\n");
    l.json_begun = false;
    query = JOURNAL_QUERY_ALL;
    query.batch = id;
    enum status st = store_reader_journal(ask->reader, &query, list_one, &l);
    if (ask->json)
        printf("]}\n");
    else if (l.count == 0)
        printf("  nothing that was noted\n");
    else if (!isnan(batch.litres))
        printf("%.3g of %.3g L accounted for\n", l.litres, batch.litres);
    return st == STATUS_OK ? 0 : unreadable(ask);
}
