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

/* Columns by the new table's own count: both have the newest layout, for only such a file is salvaged. */
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

/* From one end to the damage, then from the other end back to it. */
static int64_t copy_table(sqlite3 *from, sqlite3 *to, const char *table, const char *key)
{
    char select[128], insert[256];
    insert_sql(to, table, insert, sizeof insert);
    snprintf(select, sizeof select, "SELECT * FROM %s ORDER BY %s", table, key);
    int64_t rows = copy_rows(from, to, select, insert, INT64_MAX);
    if (sqlite3_errcode(from) == SQLITE_DONE || sqlite3_errcode(from) == SQLITE_OK)
        return rows;
    snprintf(select, sizeof select, "SELECT * FROM %s ORDER BY %s DESC", table, key);
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
        if (sqlite3_errcode(from) == SQLITE_CORRUPT)
            rows += copy_rows(from, to, select, insert, share);
    }
    sqlite3_finalize(probes);
    return rows;
}

int64_t schema_salvage(struct sqlite3 *db, const char *damaged_path)
{
    static const char *const small[][2] = {
        { "probe", "id" },          { "alert", "ref" },  { "alert_change", "id" },
        { "journal", "id" },        { "event", "id" },   { "calibration", "id" },
        { "device", "id" },         { "outbox", "id" },  { "state", "name" },
        { "meta", "name" },         { "recent", "key" }, { "touched", "probe, t_ms" },
        { "journal_item", "line" },
    };
    sqlite3 *old = NULL;
    int64_t rows = 0;
    if (sqlite3_open_v2(damaged_path, &old, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        schema_run(db, "BEGIN IMMEDIATE") == SQLITE_OK) {
        sqlite3_db_config(old, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        for (size_t i = 0; i < sizeof small / sizeof *small; i++)
            rows += copy_table(old, db, small[i][0], small[i][1]);
        rows += copy_by_probe(old, db, "rollup_day", INT64_MAX - 1);
        rows += copy_by_probe(old, db, "rollup_15min", SALVAGE_READINGS_MAX);
        rows += copy_by_probe(old, db, "reading", SALVAGE_READINGS_MAX);
        if (schema_run(db, "COMMIT") != SQLITE_OK) {
            schema_run(db, "ROLLBACK");
            rows = 0;
        }
    }
    sqlite3_close(old);
    return rows;
}
