/* What the daemon takes back at a restart, and the messages to people that wait. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

/* Readings are handed out in order of time by sorting one piece after the other: memory stays small. */
#define PIECE_MS (10 * MS_PER_MIN)

utc_t store_newest(struct store *store)
{
    if (store->db == NULL)
        return UTC_NONE;
    static const char sql[] = "SELECT coalesce((SELECT (max(key) >> 17) + 1577836800000 FROM recent), "
                              "(SELECT max(t_ms) FROM reading"
                              " WHERE key >= (SELECT max(key) FROM reading) >> 37 << 37))";
    return (utc_t){ schema_number(store->db, sql, UTC_NONE.ms) };
}

/* Rows name probes by id: the streams in order of their ids. */
struct stream_of {
    int64_t probe;
    int stream;
};

static int by_probe(const void *a, const void *b)
{
    int64_t x = ((const struct stream_of *)a)->probe, y = ((const struct stream_of *)b)->probe;
    return (x > y) - (x < y);
}

static struct stream_of *streams_by_probe(const struct store *store)
{
    struct stream_of *map = calloc((size_t)store->site->stream_count + 1, sizeof *map);
    for (int i = 0; map != NULL && i < store->site->stream_count; i++)
        map[i] = (struct stream_of){ store->probe_id[i], i };
    if (map != NULL)
        qsort(map, (size_t)store->site->stream_count, sizeof *map, by_probe);
    return map;
}

static int stream_of_probe(const struct store *store, const struct stream_of *map, int64_t probe)
{
    struct stream_of key = { probe, -1 };
    const struct stream_of *found =
        bsearch(&key, map, (size_t)store->site->stream_count, sizeof *map, by_probe);
    return found != NULL ? found->stream : -1;
}

static int each_of_piece(struct store *store, sqlite3_stmt *stmt, const struct stream_of *map, int64_t from,
                         void (*each)(void *context, const struct reading *r), void *context)
{
    int code;
    sqlite3_bind_int64(stmt, 1, from);
    sqlite3_bind_int64(stmt, 2, from + PIECE_MS);
    while ((code = sqlite3_step(stmt)) == SQLITE_ROW) {
        struct reading r = store_read_row(stmt, 1);
        r.stream = stream_of_probe(store, map, sqlite3_column_int64(stmt, 0));
        if (r.stream >= 0)
            each(context, &r);
    }
    sqlite3_reset(stmt);
    return code;
}

/* The next time at or after t that may have a reading; INT64_MAX at the end. Gaps of months cost one look. */
static int64_t next_time(struct store *store, int64_t t)
{
    char sql[500];
    snprintf(sql, sizeof sql,
             "SELECT max(%lld, min(t)) FROM (SELECT (min(key) >> 17) + 1577836800000 AS t FROM recent"
             " WHERE key >= " STORE_RECENT_KEY(
                 "%lld") " UNION ALL SELECT (min(key) >> 37 << 20) +"
                         " 1577836800000 FROM reading WHERE key >= " STORE_STRETCH("%lld") " << 37)",
             (long long)t, (long long)t, (long long)t);
    return schema_number(store->db, sql, INT64_MAX);
}

enum status store_each_reading(struct store *store, utc_t from,
                               void (*each)(void *context, const struct reading *r), void *context)
{
    static const char sql[] = STORE_STRETCHES(
        "?1", "?2") "SELECT " STORE_COLUMNS " FROM stretch CROSS JOIN (SELECT id FROM probe)"
                    " CROSS JOIN reading ON " STORE_IN_STRETCH(
                        "id", "?1",
                        "?2") " UNION ALL"
                              " SELECT r.probe, r.t_ms, r.raw, r.value, r.flag, r.tests, r.marks FROM recent "
                              "r CROSS JOIN probe p"
                              " ON p.id = r.probe WHERE key >= " STORE_RECENT_KEY(
                                  "?1") " AND key < " STORE_RECENT_KEY("?2") " AND r.t_ms >= p.settled_ms "
                                                                             "ORDER BY 2, 1";
    sqlite3_stmt *stmt = NULL;
    if (store->db == NULL || sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL) != SQLITE_OK)
        return STATUS_IO;
    struct stream_of *map = streams_by_probe(store);
    int code = map != NULL ? SQLITE_DONE : SQLITE_NOMEM;
    int64_t at = next_time(store, from.ms);
    while (code == SQLITE_DONE && at != INT64_MAX) {
        code = each_of_piece(store, stmt, map, at, each, context);
        at = next_time(store, at + PIECE_MS);
    }
    free(map);
    sqlite3_finalize(stmt);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

static int take_alert_index(const struct store *store, sqlite3_stmt *stmt, int i)
{
    const char *ref = (const char *)sqlite3_column_text(stmt, i);
    return ref != NULL ? site_alert_find(store->site, ref, strlen(ref)) : -1;
}

/* false: an alert that this configuration no longer has, or a row that cannot be. */
static bool take_alert(const struct store *store, sqlite3_stmt *s, struct alert *a)
{
    int64_t base = sqlite3_column_int64(s, 1), marks = sqlite3_column_int64(s, 2);
    *a = (struct alert){ .index = take_alert_index(store, s, 0), .leader = take_alert_index(store, s, 18) };
    if (a->index < 0 || base < ALERT_NORM || base > ALERT_LATAK || marks < 0 || marks > 7)
        return false;
    a->base = (enum alert_base)base;
    a->marks = (unsigned)marks;
    a->active = sqlite3_column_int(s, 3) != 0;
    a->unknown = sqlite3_column_int(s, 4) != 0;
    a->since = store_take_utc(s, 5);
    a->raised_at = store_take_utc(s, 6);
    a->value = store_take_number(s, 7);
    a->limit = store_take_number(s, 8);
    store_take_text(s, 9, a->cause, sizeof a->cause);
    store_take_text(s, 10, a->evidence, sizeof a->evidence);
    store_take_text(s, 11, a->action, sizeof a->action);
    a->due = store_take_utc(s, 12);
    a->shelved_until = store_take_utc(s, 13);
    a->out_until = store_take_utc(s, 14);
    store_take_text(s, 15, a->who, sizeof a->who);
    store_take_text(s, 16, a->why, sizeof a->why);
    a->raises = (uint32_t)sqlite3_column_int64(s, 17);
    a->reminders = (uint32_t)sqlite3_column_int64(s, 19);
    return true;
}

enum status store_each_alert(struct store *store, void (*each)(void *context, const struct alert *a),
                             void *context)
{
    static const char sql[] =
        "SELECT ref, base, marks, active, unknown, since_ms, raised_ms, value, limit_value,"
        " cause, evidence, action, due_ms, shelved_until_ms, out_until_ms, who, why,"
        " raises, leader, reminders FROM alert";
    sqlite3_stmt *stmt;
    struct alert a;
    int code;
    if (store->db == NULL || sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL) != SQLITE_OK)
        return STATUS_IO;
    while ((code = sqlite3_step(stmt)) == SQLITE_ROW)
        if (take_alert(store, stmt, &a))
            each(context, &a);
    sqlite3_finalize(stmt);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}
