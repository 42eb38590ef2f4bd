/* What the daemon takes back at a restart, and the messages to people that wait. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

utc_t store_newest(struct store *store)
{
    if (store->db == NULL)
        return UTC_NONE;
    static const char sql[] = "SELECT coalesce((SELECT (max(key) >> 17) + 1577836800000 FROM recent), "
                              "(SELECT max(t_ms) FROM reading"
                              " WHERE key >= (SELECT max(key) FROM reading) >> 37 << 37))";
    return (utc_t){ schema_number(store->db, sql, UTC_NONE.ms) };
}

/* Rows name probes by id. */
struct streams {
    int64_t count;
    int of[]; /* by id; -1: not in this configuration */
};

static struct streams *streams_by_probe(const struct store *store)
{
    int64_t most = 0;
    for (int i = 0; i < store->site->stream_count; i++)
        most = store->probe_id[i] > most ? store->probe_id[i] : most;
    struct streams *map = malloc(sizeof *map + (size_t)(most + 1) * sizeof map->of[0]);
    if (map == NULL)
        return NULL;
    map->count = most + 1;
    memset(map->of, 0xff, (size_t)map->count * sizeof map->of[0]);
    for (int i = 0; i < store->site->stream_count; i++)
        map->of[store->probe_id[i]] = i;
    return map;
}

/* Two days are millions of rows, and nothing is watched meanwhile: taken apart here, not in SQL. */
static int each_of(struct store *store, const char *sql, bool settled, const struct streams *map, utc_t from,
                   void (*each)(void *context, const struct reading *r), void *context)
{
    sqlite3_stmt *stmt = NULL;
    int code = sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL);
    if (code != SQLITE_OK)
        return code;
    sqlite3_bind_int64(stmt, 1, from.ms);
    while ((code = sqlite3_step(stmt)) == SQLITE_ROW) {
        int64_t key = sqlite3_column_int64(stmt, 0);
        int64_t probe = settled ? store_reading_probe(key) : store_recent_probe(key);
        int stream = probe < map->count ? map->of[probe] : -1;
        utc_t t = { settled ? store_reading_t_ms(key) : store_recent_t_ms(key) };
        if (stream < 0 || t.ms < from.ms || (!settled && t.ms < store->settled_ms[stream]))
            continue;
        struct reading r = store_read_coded(stmt, 1);
        r.stream = stream;
        r.t = t;
        each(context, &r);
    }
    sqlite3_finalize(stmt);
    return code;
}

enum status store_each_reading(struct store *store, utc_t from,
                               void (*each)(void *context, const struct reading *r), void *context)
{
    static const char settled[] = "SELECT key, raw, value, verdict FROM reading WHERE key >= " STORE_STRETCH(
        "?1") " << 37 ORDER BY key";
    static const char recent[] =
        "SELECT key, raw, value, verdict FROM recent WHERE key >= " STORE_RECENT_KEY("?1") " ORDER BY key";
    struct streams *map = store->db != NULL ? streams_by_probe(store) : NULL;
    if (map == NULL)
        return STATUS_IO;
    bool done = each_of(store, settled, true, map, from, each, context) == SQLITE_DONE &&
                each_of(store, recent, false, map, from, each, context) == SQLITE_DONE;
    free(map);
    return done ? STATUS_OK : STATUS_IO;
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
