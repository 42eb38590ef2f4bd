/* Messages to people, kept until delivered. */
#include <sqlite3.h>
#include <stdio.h>

#include "adapters/store_inside.h"

enum status store_outbox_add(struct store *store, const struct outbox_item *item)
{
    static const char sql[] = "INSERT INTO outbox VALUES(NULL,?1,?1,?2,?3,?4,?5,?6)";
    sqlite3_stmt *s = NULL;
    bool ok = store_begin(store, true) && sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, item->at.ms);
        sqlite3_bind_int(s, 2, item->attempts);
        sqlite3_bind_int(s, 3, (int)item->priority);
        sqlite3_bind_text(s, 4, item->ref, -1, SQLITE_STATIC);
        sqlite3_bind_text(s, 5, item->json, -1, SQLITE_STATIC);
        sqlite3_bind_text(s, 6, item->text, -1, SQLITE_STATIC);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

static void take(sqlite3_stmt *s, struct outbox_item *out)
{
    int priority = sqlite3_column_int(s, 3);
    *out =
        (struct outbox_item){ .id = sqlite3_column_int64(s, 0),
                              .at = { sqlite3_column_int64(s, 1) },
                              .attempts = sqlite3_column_int(s, 2),
                              .priority = priority >= 0 && priority < PRIORITY_COUNT ? (enum priority)priority
                                                                                     : PRIORITY_HIGH };
    snprintf(out->ref, sizeof out->ref, "%s", (const char *)sqlite3_column_text(s, 4));
    snprintf(out->json, sizeof out->json, "%s", (const char *)sqlite3_column_text(s, 5));
    snprintf(out->text, sizeof out->text, "%s", (const char *)sqlite3_column_text(s, 6));
}

enum status store_outbox_next(struct store *store, utc_t due, struct outbox_item *out)
{
    static const char sql[] = "SELECT id, at_ms, attempts, priority, ref, json, text FROM outbox"
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
