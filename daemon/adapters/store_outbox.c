/* Messages to people, kept until delivered. */
#include <sqlite3.h>
#include <stdio.h>

#include "adapters/store_inside.h"
#include "adapters/store_outbox.h"

/* next_ms of what is held: never due. */
#define HELD INT64_MAX

#define COLUMNS "id, at_ms, attempts, priority, ref, json, text, next_ms"

static bool insert(struct store *store, const struct outbox_item *item)
{
    static const char sql[] = "INSERT INTO outbox VALUES(NULL,?1,?7,?2,?3,?4,?5,?6)";
    sqlite3_stmt *s = NULL;
    bool ok = sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, item->at.ms);
        sqlite3_bind_int(s, 2, item->attempts);
        sqlite3_bind_int(s, 3, (int)item->priority);
        sqlite3_bind_text(s, 4, item->ref, -1, SQLITE_STATIC);
        sqlite3_bind_text(s, 5, item->json, -1, SQLITE_STATIC);
        sqlite3_bind_text(s, 6, item->text, -1, SQLITE_STATIC);
        sqlite3_bind_int64(s, 7, item->held ? HELD : item->at.ms);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return ok;
}

static bool make_room(struct store *store, int *dropped)
{
    static const char sql[] = "DELETE FROM outbox WHERE id IN (SELECT id FROM outbox ORDER BY priority, id"
                              " LIMIT max(0, (SELECT count(*) FROM outbox) - ?1))";
    sqlite3_stmt *s = NULL;
    bool ok = sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int(s, 1, STORE_OUTBOX_MAX);
        ok = store_step(s);
        *dropped = sqlite3_changes(store->db);
    }
    sqlite3_finalize(s);
    return ok;
}

enum status store_outbox_add(struct store *store, const struct outbox_item *item)
{
    int dropped = 0;
    bool ok = store_begin(store, true) && insert(store, item) && make_room(store, &dropped);
    if (!store_end(store, ok))
        return STATUS_IO;
    store->counts.outbox_dropped += (uint64_t)dropped;
    return STATUS_OK;
}

static void take(sqlite3_stmt *s, struct outbox_item *out)
{
    int priority = sqlite3_column_int(s, 3);
    *out =
        (struct outbox_item){ .id = sqlite3_column_int64(s, 0),
                              .at = { sqlite3_column_int64(s, 1) },
                              .attempts = sqlite3_column_int(s, 2),
                              .held = sqlite3_column_int64(s, 7) == HELD,
                              .priority = priority >= 0 && priority < PRIORITY_COUNT ? (enum priority)priority
                                                                                     : PRIORITY_HIGH };
    store_take_text(s, 4, out->ref, sizeof out->ref);
    store_take_text(s, 5, out->json, sizeof out->json);
    store_take_text(s, 6, out->text, sizeof out->text);
}

enum status store_outbox_next(struct store *store, utc_t due, struct outbox_item *out)
{
    static const char sql[] = "SELECT " COLUMNS " FROM outbox"
                              " WHERE next_ms <= ? ORDER BY priority DESC, id LIMIT 1";
    sqlite3_stmt *s;
    if (store->db == NULL || sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_int64(s, 1, due.ms);
    int code = sqlite3_step(s);
    if (code == SQLITE_ROW)
        take(s, out);
    sqlite3_finalize(s);
    if (code == SQLITE_ROW)
        return STATUS_OK;
    return code == SQLITE_DONE ? STATUS_NONE : STATUS_IO;
}

static enum status change(struct store *store, const char *sql, int64_t id, int64_t next)
{
    sqlite3_stmt *s = NULL;
    bool ok = store_begin(store, true) && sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, id);
        if (sqlite3_bind_parameter_count(s) > 1)
            sqlite3_bind_int64(s, 2, next);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

enum status store_outbox_done(struct store *store, int64_t id)
{
    return change(store, "DELETE FROM outbox WHERE id = ?", id, 0);
}

enum status store_outbox_retry(struct store *store, int64_t id, utc_t next)
{
    return change(store, "UPDATE outbox SET attempts = attempts + 1, next_ms = ?2 WHERE id = ?1", id,
                  next.ms);
}

enum status store_outbox_each_held(struct store *store,
                                   void (*each)(void *context, const struct outbox_item *item), void *context)
{
    static const char sql[] = "SELECT " COLUMNS " FROM outbox WHERE next_ms = ? ORDER BY id";
    struct outbox_item item;
    sqlite3_stmt *s;
    int code;
    if (store->db == NULL || sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_int64(s, 1, HELD);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        take(s, &item);
        each(context, &item);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

enum status store_outbox_release(struct store *store, const struct outbox_item *digest)
{
    sqlite3_stmt *s = NULL;
    bool ok =
        store_begin(store, true) && insert(store, digest) &&
        sqlite3_prepare_v2(store->db, "DELETE FROM outbox WHERE next_ms = ?", -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, HELD);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}
