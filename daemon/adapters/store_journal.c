#include "adapters/store_journal.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

#define COLUMNS                                                                                              \
    "id, written_ms, at_ms, kind, place, water, batch, litres, grams, kit, lot, other, who, text, corrects," \
    " superseded_by, withdrawn_ms, withdrawn_by, withdrawn_why"

/* --- writing --- */

static void bind_id(sqlite3_stmt *s, int i, int64_t id)
{
    if (id == 0)
        sqlite3_bind_null(s, i);
    else
        sqlite3_bind_int64(s, i, id);
}

static bool write_row(struct store *store, const struct journal_entry *e)
{
    sqlite3_stmt *s = store_statement(store, PUT_JOURNAL);
    if (s == NULL)
        return false;
    int i = 0;
    sqlite3_bind_int64(s, ++i, e->id);
    sqlite3_bind_int64(s, ++i, e->written.ms);
    sqlite3_bind_int64(s, ++i, e->at.ms);
    sqlite3_bind_text(s, ++i, journal_kind_name(e->kind), -1, SQLITE_STATIC);
    store_bind_text(s, ++i, e->place);
    store_bind_text(s, ++i, e->water);
    bind_id(s, ++i, e->batch);
    sqlite3_bind_double(s, ++i, e->litres);
    sqlite3_bind_double(s, ++i, e->grams);
    store_bind_text(s, ++i, e->kit);
    store_bind_text(s, ++i, e->lot);
    store_bind_text(s, ++i, e->other);
    store_bind_text(s, ++i, e->who);
    store_bind_text(s, ++i, e->text);
    bind_id(s, ++i, e->corrects);
    return store_step(s);
}

static bool write_items(struct store *store, const struct journal_entry *e)
{
    int64_t id = sqlite3_last_insert_rowid(store->db);
    for (int i = 0; i < e->item_count; i++) {
        sqlite3_stmt *s = store_statement(store, PUT_JOURNAL_ITEM);
        if (s == NULL)
            return false;
        sqlite3_bind_int64(s, 1, id);
        sqlite3_bind_text(s, 2, journal_role_name(e->items[i].role), -1, SQLITE_STATIC);
        sqlite3_bind_text(s, 3, e->items[i].name, -1, SQLITE_STATIC);
        sqlite3_bind_double(s, 4, e->items[i].amount);
        sqlite3_bind_double(s, 5, e->items[i].sd);
        if (!store_step(s))
            return false;
    }
    return true;
}

static bool write_superseded(struct store *store, const struct journal_entry *e)
{
    sqlite3_stmt *s = e->corrects == 0 ? NULL : store_statement(store, SUPERSEDE_JOURNAL);
    if (e->corrects == 0)
        return true;
    if (s == NULL)
        return false;
    sqlite3_bind_int64(s, 1, e->id);
    sqlite3_bind_int64(s, 2, e->corrects);
    return store_step(s);
}

static bool write_withdrawn(struct store *store, const struct journal_entry *e)
{
    sqlite3_stmt *s = store_statement(store, WITHDRAW_JOURNAL);
    if (s == NULL)
        return false;
    sqlite3_bind_int64(s, 1, e->written.ms);
    store_bind_text(s, 2, e->who);
    store_bind_text(s, 3, e->text);
    sqlite3_bind_int64(s, 4, e->withdraws);
    return store_step(s);
}

bool store_write_journal(struct store *store, const struct journal_entry *e)
{
    if (e->withdraws != 0)
        return write_withdrawn(store, e);
    return write_row(store, e) && write_items(store, e) && write_superseded(store, e);
}

/* --- reading --- */

static void read_row(sqlite3_stmt *s, struct journal_entry *e)
{
    char kind[32];
    journal_clear(e);
    e->id = sqlite3_column_int64(s, 0);
    e->written = store_take_utc(s, 1);
    e->at = store_take_utc(s, 2);
    store_take_text(s, 3, kind, sizeof kind);
    e->kind = journal_kind_find(kind, strlen(kind));
    if (e->kind == JOURNAL_KIND_COUNT)
        e->kind = JOURNAL_REMARK;
    store_take_text(s, 4, e->place, sizeof e->place);
    store_take_text(s, 5, e->water, sizeof e->water);
    e->batch = sqlite3_column_int64(s, 6);
    e->litres = store_take_number(s, 7);
    e->grams = store_take_number(s, 8);
    store_take_text(s, 9, e->kit, sizeof e->kit);
    store_take_text(s, 10, e->lot, sizeof e->lot);
    store_take_text(s, 11, e->other, sizeof e->other);
    store_take_text(s, 12, e->who, sizeof e->who);
    store_take_text(s, 13, e->text, sizeof e->text);
    e->corrects = sqlite3_column_int64(s, 14);
    e->superseded_by = sqlite3_column_int64(s, 15);
    e->withdrawn = store_take_utc(s, 16);
    store_take_text(s, 17, e->withdrawn_by, sizeof e->withdrawn_by);
    store_take_text(s, 18, e->withdrawn_why, sizeof e->withdrawn_why);
}

static bool read_items(sqlite3_stmt *s, struct journal_entry *e)
{
    int code;
    char role[16], name[sizeof e->items->name];
    sqlite3_bind_int64(s, 1, e->id);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        store_take_text(s, 0, role, sizeof role);
        store_take_text(s, 1, name, sizeof name);
        enum journal_role r = journal_role_find(role, strlen(role));
        if (r != JOURNAL_ROLE_COUNT &&
            journal_put(e, r, name, sqlite3_column_double(s, 2), store_take_number(s, 3)) != STATUS_OK)
            break; /* more than one of ours would hold: another program wrote them */
    }
    sqlite3_reset(s);
    return code == SQLITE_DONE || code == SQLITE_ROW;
}

/* Runs a select of COLUMNS to its end. */
static bool each_row(sqlite3 *db, sqlite3_stmt *rows,
                     void (*each)(void *context, const struct journal_entry *e), void *context)
{
    sqlite3_stmt *items = NULL;
    int code = SQLITE_ERROR;
    bool ok = rows != NULL &&
              sqlite3_prepare_v2(
                  db, "SELECT role, name, amount, sd FROM journal_item WHERE entry = ? ORDER BY line", -1,
                  &items, NULL) == SQLITE_OK;
    while (ok && (code = sqlite3_step(rows)) == SQLITE_ROW) {
        struct journal_entry e;
        read_row(rows, &e);
        ok = read_items(items, &e);
        if (ok)
            each(context, &e);
    }
    sqlite3_finalize(items);
    sqlite3_finalize(rows);
    return ok && code == SQLITE_DONE;
}

static sqlite3_stmt *select_rows(sqlite3 *db, const struct journal_query *q)
{
    static const char sql[] =
        "SELECT " COLUMNS " FROM journal WHERE at_ms >= ?1 AND at_ms < ?2"
        " AND (?3 IS NULL OR place = ?3) AND (?4 IS NULL OR kind = ?4) AND (?5 IS NULL OR id = ?5)"
        " AND (?6 IS NULL OR batch = ?6) AND (?7 IS NULL OR water = ?7)"
        " AND (?8 OR (superseded_by IS NULL AND withdrawn_ms IS NULL)) ORDER BY at_ms, id";
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(db, sql, -1, &s, NULL) != SQLITE_OK)
        return NULL;
    sqlite3_bind_int64(s, 1, q->from.ms);
    sqlite3_bind_int64(s, 2, q->to.ms);
    store_bind_text(s, 3, q->place);
    store_bind_text(s, 4, q->kind == JOURNAL_KIND_COUNT ? NULL : journal_kind_name(q->kind));
    bind_id(s, 5, q->id);
    bind_id(s, 6, q->batch);
    store_bind_text(s, 7, q->water);
    sqlite3_bind_int(s, 8, q->also_void);
    return s;
}

enum status store_reader_journal(struct store_reader *reader, const struct journal_query *query,
                                 void (*each)(void *context, const struct journal_entry *e), void *context)
{
    sqlite3 *db = store_reader_db(reader);
    return each_row(db, select_rows(db, query), each, context) ? STATUS_OK : STATUS_IO;
}

/* --- with what waits --- */

static void take_found(void *context, const struct journal_entry *e)
{
    *(struct journal_entry *)context = *e;
}

/* The waiting notes in their order: the entry itself, or what became of it. */
static void follow_waiting(const struct store *store, int64_t id, struct journal_entry *out)
{
    for (size_t i = 0; i < store->note_count; i++) {
        const struct journal_entry *e = &store->notes[i].u.journal;
        if (store->notes[i].kind != NOTE_JOURNAL)
            continue;
        if (e->withdraws == 0 && e->id == id)
            *out = *e;
        if (e->corrects == id)
            out->superseded_by = e->id;
        if (e->withdraws != id)
            continue;
        out->withdrawn = e->written;
        snprintf(out->withdrawn_by, sizeof out->withdrawn_by, "%s", e->who);
        snprintf(out->withdrawn_why, sizeof out->withdrawn_why, "%s", e->text);
    }
}

struct with_waiting {
    const struct store *store;
    void (*each)(void *context, const struct journal_entry *e);
    void *context;
};

static void pass_on(void *context, const struct journal_entry *e)
{
    const struct with_waiting *w = context;
    struct journal_entry whole = *e;
    follow_waiting(w->store, e->id, &whole);
    w->each(w->context, &whole);
}

enum status store_each_journal(struct store *store, utc_t from, enum journal_kind kind,
                               void (*each)(void *context, const struct journal_entry *e), void *context)
{
    struct journal_query query = JOURNAL_QUERY_ALL;
    struct with_waiting w = { store, each, context };
    query.from = from;
    query.kind = kind;
    query.also_void = true;
    bool ok = store->db != NULL && each_row(store->db, select_rows(store->db, &query), pass_on, &w);
    for (size_t i = 0; i < store->note_count; i++) {
        const struct journal_entry *e = &store->notes[i].u.journal;
        if (store->notes[i].kind == NOTE_JOURNAL && e->withdraws == 0 && e->at.ms >= from.ms &&
            (kind == JOURNAL_KIND_COUNT || kind == e->kind))
            pass_on(&w, e);
    }
    return ok ? STATUS_OK : STATUS_IO;
}

enum status store_journal_find(struct store *store, int64_t id, struct journal_entry *out)
{
    struct journal_query query = JOURNAL_QUERY_ALL;
    query.id = id;
    query.also_void = true;
    journal_clear(out);
    bool read = store->db != NULL && each_row(store->db, select_rows(store->db, &query), take_found, out);
    follow_waiting(store, id, out);
    if (out->id == id)
        return STATUS_OK;
    return read ? STATUS_NONE : STATUS_IO;
}

int64_t store_journal_last(struct store *store)
{
    int64_t last =
        store->db == NULL ? 0 : schema_number(store->db, "SELECT coalesce(max(id), 0) FROM journal", 0);
    for (size_t i = 0; i < store->note_count; i++)
        if (store->notes[i].kind == NOTE_JOURNAL && store->notes[i].u.journal.id > last)
            last = store->notes[i].u.journal.id;
    return last;
}
