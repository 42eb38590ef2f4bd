/* A damaged store: out of the way without losing a byte, and what can be read into the new one. */
#include "adapters/store_schema.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum status schema_set_aside(const char *path, const char *because, char *aside, size_t cap, struct why *why)
{
    static const char *const parts[] = { "-wal", "-shm" };
    int n = 1;
    do
        snprintf(aside, cap, "%s.%s-%d", path, because, n);
    while (access(aside, F_OK) == 0 && ++n < 10000);
    if (rename(path, aside) != 0)
        return why_say(why, STATUS_IO, "the %s store %s cannot be renamed to %s: %s", because, path, aside,
                       strerror(errno));
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char from[600], to[640];
        snprintf(from, sizeof from, "%s%s", path, parts[i]);
        snprintf(to, sizeof to, "%s%s", aside, parts[i]);
        /* A log left beside the new file would be taken for its own. */
        if (rename(from, to) != 0 && errno != ENOENT)
            return why_say(why, STATUS_IO, "%s cannot be renamed: %s", from, strerror(errno));
    }
    return STATUS_OK;
}

/* Until the first row that cannot be read. */
static int64_t copy_rows(sqlite3 *from, sqlite3 *to, const char *select, const char *insert, int64_t most)
{
    sqlite3_stmt *in = NULL, *out = NULL;
    int64_t rows = 0;
    if (sqlite3_prepare_v2(from, select, -1, &in, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(to, insert, -1, &out, NULL) == SQLITE_OK) {
        int columns = sqlite3_bind_parameter_count(out); /* reckoned ones, which come last, are not put */
        while (rows < most && sqlite3_step(in) == SQLITE_ROW) {
            for (int i = 0; i < columns; i++)
                sqlite3_bind_value(out, i + 1, sqlite3_column_value(in, i));
            if (sqlite3_step(out) == SQLITE_DONE)
                rows += sqlite3_changes(to);
            sqlite3_reset(out);
        }
    }
    sqlite3_finalize(in);
    sqlite3_finalize(out);
    return rows;
}

/* Columns by the new table's own count: both have the same layout. */
static void insert_sql(sqlite3 *to, const char *table, char *buf, size_t cap)
{
    char count[96];
    snprintf(count, sizeof count, "SELECT count(*) FROM pragma_table_info('%s')", table);
    int64_t columns = schema_number(to, count, 1);
    size_t at = (size_t)snprintf(buf, cap, "INSERT OR IGNORE INTO %s VALUES(?", table);
    for (int64_t i = 1; i < columns && at + 4 < cap; i++)
        at += (size_t)snprintf(buf + at, cap - at, ",?");
    snprintf(buf + at, cap - at, ")");
}

static bool is_damaged(sqlite3 *from)
{
    int code = sqlite3_errcode(from) & 0xff;
    return code != SQLITE_DONE && code != SQLITE_OK;
}

/* From one end to the damage, then from the other end back to it. */
static int64_t copy_part(sqlite3 *from, sqlite3 *to, const char *table, const char *where, const char *key)
{
    char select[256], insert[256];
    insert_sql(to, table, insert, sizeof insert);
    snprintf(select, sizeof select, "SELECT * FROM %s %s ORDER BY %s", table, where, key);
    int64_t rows = copy_rows(from, to, select, insert, INT64_MAX);
    if (!is_damaged(from))
        return rows;
    snprintf(select, sizeof select, "SELECT * FROM %s %s ORDER BY %s DESC", table, where, key);
    return rows + copy_rows(from, to, select, insert, INT64_MAX);
}

static int64_t copy_by_probe(sqlite3 *from, sqlite3 *to, const char *table, int64_t most)
{
    sqlite3_stmt *probes;
    char insert[256];
    int64_t rows = 0;
    insert_sql(to, table, insert, sizeof insert);
    if (sqlite3_prepare_v2(to, "SELECT id FROM probe ORDER BY id", -1, &probes, NULL) != SQLITE_OK)
        return 0;
    int64_t count = schema_number(to, "SELECT count(*) FROM probe", 1);
    int64_t share = most / (count > 0 ? count : 1) + 1;
    while (sqlite3_step(probes) == SQLITE_ROW) {
        long long id = sqlite3_column_int64(probes, 0);
        char select[160];
        snprintf(select, sizeof select, "SELECT * FROM %s WHERE probe = %lld ORDER BY t_ms DESC", table, id);
        rows += copy_rows(from, to, select, insert, share);
        snprintf(select, sizeof select, "SELECT * FROM %s WHERE probe = %lld ORDER BY t_ms", table, id);
        if (is_damaged(from))
            rows += copy_rows(from, to, select, insert, share);
    }
    sqlite3_finalize(probes);
    return rows;
}

/* The newest stretch before another that has readings; where the way to it is damaged, the one before. */
static int64_t stretch_before(sqlite3 *from, int64_t n)
{
    char sql[96];
    snprintf(sql, sizeof sql, "SELECT max(key) >> 37 FROM reading WHERE key < %lld << 37", (long long)n);
    int64_t found = schema_number(from, sql, INT64_MIN);
    return found == INT64_MIN && is_damaged(from) ? n - 1 : found;
}

/* Stretch by stretch, newest first: damage costs no more than its own. */
static int64_t copy_by_stretch(sqlite3 *from, sqlite3 *to, int64_t most)
{
    int64_t first = schema_number(from, "SELECT min(key) >> 37 FROM reading", 0), rows = 0;
    int64_t end = schema_number(to, "SELECT (max(settled_ms) - 1577836800000) >> 20 FROM probe", 0) + 1;
    for (int64_t n = stretch_before(from, end); n >= first && rows < most; n = stretch_before(from, n)) {
        char where[96];
        snprintf(where, sizeof where, "WHERE key >= %lld << 37 AND key < %lld << 37", (long long)n,
                 (long long)n + 1);
        rows += copy_part(from, to, "reading", where, "key");
    }
    return rows;
}

static int64_t copy_all(sqlite3 *from, sqlite3 *to, int version)
{
    static const char *const small[][2] = {
        { "probe", "id" },
        { "alert", "ref" },
        { "alert_change", "id" },
        { "journal", "id" },
        { "event", "id" },
        { "calibration", "id" },
        { "device", "id" },
        { "outbox", "id" },
        { "state", "name" },
        { "meta", "name" },
        { "touched", "probe, t_ms" },
        { "journal_item", "line" },
    };
    int64_t rows = copy_part(from, to, "recent", "", version < 6 ? "t_ms, probe" : "key");
    for (size_t i = 0; i < sizeof small / sizeof *small; i++)
        rows += copy_part(from, to, small[i][0], "", small[i][1]);
    rows += copy_by_probe(from, to, "rollup_day", INT64_MAX - 1);
    rows += copy_by_probe(from, to, "rollup_15min", SALVAGE_READINGS_MAX);
    return rows + (version < 7 ? copy_by_probe(from, to, "reading", SALVAGE_READINGS_MAX)
                               : copy_by_stretch(from, to, SALVAGE_READINGS_MAX));
}

static int64_t salvage(sqlite3 *old, sqlite3 *db, int version)
{
    if (schema_run(db, "BEGIN IMMEDIATE") != SQLITE_OK)
        return 0;
    sqlite3_db_config(old, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    int64_t rows = copy_all(old, db, version);
    if (schema_run(db, "COMMIT") == SQLITE_OK)
        return rows;
    schema_run(db, "ROLLBACK");
    return 0;
}

/* The steps up to the version of a file; all when it cannot be read. */
static int steps_to(sqlite3 *old, const struct schema_step *steps, int count)
{
    int64_t version = schema_number(old, "PRAGMA user_version", 0);
    for (int i = 0; i < count; i++)
        if (steps[i].version == version)
            return i + 1;
    return count;
}

enum status schema_salvage(struct sqlite3 *db, const char *path, const char *damaged_path,
                           const struct schema_step *steps, int count, int64_t *rows, struct why *why)
{
    sqlite3 *old = NULL;
    *rows = 0;
    if (sqlite3_open_v2(damaged_path, &old, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK) {
        sqlite3_close(old);
        return schema_climb(db, path, steps, count, why);
    }
    int upto = steps_to(old, steps, count);
    enum status st = schema_climb(db, path, steps, upto, why);
    if (st == STATUS_OK)
        *rows = salvage(old, db, steps[upto - 1].version);
    sqlite3_close(old);
    return st == STATUS_OK ? schema_climb(db, path, steps, count, why) : st;
}
