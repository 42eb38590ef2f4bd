#include "adapters/store_schema.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Small pages: a commit of a few hundred readings touches a handful of pages that it shares with others, and
 * each of those is written whole. Sync stays NORMAL here; the store raises it for what must not be lost. */
#define STORE_PAGE_BYTES "2048"

int64_t schema_number(struct sqlite3 *db, const char *sql, int64_t otherwise)
{
    sqlite3_stmt *stmt;
    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) != SQLITE_OK)
        return otherwise;
    if (sqlite3_step(stmt) == SQLITE_ROW && sqlite3_column_type(stmt, 0) != SQLITE_NULL)
        otherwise = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    return otherwise;
}

int schema_run(struct sqlite3 *db, const char *sql)
{
    return sqlite3_exec(db, sql, NULL, NULL, NULL);
}

enum status schema_status(struct sqlite3 *db, int code, const char *path, struct why *why)
{
    switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
        return STATUS_OK;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return why_say(why, STATUS_INVALID, "store %s is damaged (%s)", path, sqlite3_errmsg(db));
    case SQLITE_FULL:
        return why_say(why, STATUS_IO, "no space left for the store %s; free some space on that disk", path);
    case SQLITE_READONLY:
        return why_say(why, STATUS_IO,
                       "store %s cannot be written: the file or its folder is read-only; "
                       "check owner and mount",
                       path);
    case SQLITE_CANTOPEN:
        return why_say(why, STATUS_IO, "store %s cannot be opened: is the folder there and writable?", path);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return why_say(why, STATUS_IO, "store %s is held by another program", path);
    default:
        return why_say(why, STATUS_IO, "store %s: %s", path, sqlite3_errmsg(db));
    }
}

static int tune(sqlite3 *db)
{
    static const char settings[] =
        "PRAGMA busy_timeout=250;"
        "PRAGMA page_size=" STORE_PAGE_BYTES ";"
        "PRAGMA auto_vacuum=INCREMENTAL;"
        "PRAGMA journal_mode=WAL;"
        "PRAGMA synchronous=NORMAL;"
        "PRAGMA cache_size=-384;"
        "PRAGMA temp_store=MEMORY;"
        "PRAGMA secure_delete=OFF;" /* Debian builds it in: freed pages would be written */
        "PRAGMA wal_autocheckpoint=2000;"
        "PRAGMA journal_size_limit=8388608;";
    sqlite3_extended_result_codes(db, 1);
    return schema_run(db, settings);
}

static enum status refuse_strangers(sqlite3 *db, const char *path, int newest, struct why *why)
{
    int64_t tables = schema_number(db, "SELECT count(*) FROM sqlite_master", -1);
    if (tables < 0)
        return schema_status(db, sqlite3_errcode(db), path, why);
    if (tables == 0)
        return STATUS_OK;
    if (schema_number(db, "PRAGMA application_id", 0) != STORE_APPLICATION_ID)
        return why_say(why, STATUS_REFUSED, "%s is a database of another program; choose another store.path",
                       path);
    int64_t version = schema_number(db, "PRAGMA user_version", 0);
    if (version > newest)
        return why_say(why, STATUS_REFUSED,
                       "store %s has version %d, this program knows up to %d: install the newer program, or "
                       "start a new store under another store.path",
                       path, (int)version, newest);
    return STATUS_OK;
}

enum status schema_open(const char *path, const struct schema_step *steps, int count, struct sqlite3 **db,
                        struct why *why)
{
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX;
    sqlite3 *opened = NULL;
    *db = NULL;
    int code = sqlite3_open_v2(path, &opened, flags, NULL);
    enum status st = STATUS_OK;
    if (code == SQLITE_OK) {
        /* Until the file is known to be sound its log must stay as it is, also when we leave. */
        sqlite3_db_config(opened, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        /* A stranger's file must be left as it is: look before the journal mode is changed. */
        st = refuse_strangers(opened, path, steps[count - 1].version, why);
        if (st == STATUS_OK)
            code = sqlite3_db_readonly(opened, "main") == 1 ? SQLITE_READONLY : tune(opened);
    }
    if (st == STATUS_OK)
        st = schema_status(opened, code, path, why);
    if (st != STATUS_OK) {
        sqlite3_close(opened);
        return st;
    }
    *db = opened;
    return STATUS_OK;
}

int schema_copy(struct sqlite3 *db, const char *copy)
{
    sqlite3 *out = NULL;
    int code = sqlite3_open_v2(copy, &out, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);
    if (code == SQLITE_OK) {
        sqlite3_backup *backup = sqlite3_backup_init(out, "main", db, "main");
        if (backup != NULL)
            sqlite3_backup_step(backup, -1);
        code = backup != NULL ? sqlite3_backup_finish(backup) : sqlite3_errcode(out);
    }
    sqlite3_close(out);
    return code;
}

/* Written under another name first: a copy cut short must not pass for one. */
static enum status copy_first(sqlite3 *db, const char *path, int version, struct why *why)
{
    char copy[600], part[620];
    snprintf(copy, sizeof copy, "%s.before-v%d", path, version + 1);
    snprintf(part, sizeof part, "%s.part", copy);
    if (access(copy, F_OK) == 0)
        return STATUS_OK;
    unlink(part);
    int code = schema_copy(db, part);
    if (code == SQLITE_OK && rename(part, copy) == 0)
        return STATUS_OK;
    unlink(part);
    return why_say(why, STATUS_IO,
                   "store %s must be copied before it is brought to a new version, and the copy %s "
                   "failed; nothing was changed",
                   path, copy);
}

static int climb(sqlite3 *db, const struct schema_step *steps, int count, int from)
{
    char pragma[96];
    int code = schema_run(db, "PRAGMA synchronous=FULL");
    if (code == SQLITE_OK)
        code = schema_run(db, "BEGIN IMMEDIATE");
    for (int i = 0; i < count && code == SQLITE_OK; i++)
        if (steps[i].version > from)
            code = schema_run(db, steps[i].sql);
    snprintf(pragma, sizeof pragma, "PRAGMA user_version=%d; PRAGMA application_id=%d",
             steps[count - 1].version, STORE_APPLICATION_ID);
    if (code == SQLITE_OK)
        code = schema_run(db, pragma);
    if (code == SQLITE_OK)
        code = schema_run(db, "COMMIT");
    return code;
}

enum status schema_climb(struct sqlite3 *db, const char *path, const struct schema_step *steps, int count,
                         struct why *why)
{
    int version = (int)schema_number(db, "PRAGMA user_version", 0);
    if (version == steps[count - 1].version)
        return STATUS_OK;
    int code = climb(db, steps, count, version);
    enum status st = schema_status(db, code, path, why);
    if (code != SQLITE_OK)
        schema_run(db, "ROLLBACK");
    return st;
}

enum status schema_migrate(struct sqlite3 *db, const char *path, const struct schema_step *steps, int count,
                           struct why *why)
{
    int version = (int)schema_number(db, "PRAGMA user_version", 0);
    enum status st = STATUS_OK;
    if (version > 0 && version != steps[count - 1].version)
        st = copy_first(db, path, version, why);
    return st == STATUS_OK ? schema_climb(db, path, steps, count, why) : st;
}

static bool sound(sqlite3 *db, const char *pragma, struct why *why, const char *path)
{
    sqlite3_stmt *stmt;
    if (sqlite3_prepare_v2(db, pragma, -1, &stmt, NULL) != SQLITE_OK) {
        why_say(why, STATUS_INVALID, "store %s is damaged (%s)", path, sqlite3_errmsg(db));
        return false;
    }
    bool ok = false;
    if (sqlite3_step(stmt) == SQLITE_ROW) {
        const char *told = (const char *)sqlite3_column_text(stmt, 0);
        ok = told != NULL && strcmp(told, "ok") == 0;
        if (!ok)
            why_say(why, STATUS_INVALID, "store %s is damaged (%.120s)", path, told ? told : "unreadable");
    } else {
        why_say(why, STATUS_INVALID, "store %s is damaged (%s)", path, sqlite3_errmsg(db));
    }
    sqlite3_finalize(stmt);
    return ok;
}

/* A few hundred entries of the large trees, from one end to the other: walks them without reading them. */
static bool ends_sound(sqlite3 *db)
{
    static const char *const walks[] = {
        "WITH RECURSIVE step(n) AS MATERIALIZED (SELECT (SELECT max(key) FROM reading) / 512 -"
        " (SELECT min(key) FROM reading) / 512 + 1),"
        " look(k) AS (SELECT (SELECT min(key) FROM reading) UNION ALL SELECT (SELECT key FROM reading"
        " WHERE key >= k + (SELECT n FROM step) ORDER BY key LIMIT 1) FROM look WHERE k IS NOT NULL)"
        " SELECT sum((SELECT verdict FROM reading WHERE key = k)) FROM look",
        "SELECT verdict FROM reading ORDER BY key DESC LIMIT 1",
        "SELECT sum((SELECT max(t_ms) FROM rollup_15min WHERE probe = p.id)) FROM probe p",
    };
    for (size_t i = 0; i < sizeof walks / sizeof *walks; i++) {
        int code = schema_run(db, walks[i]) & 0xff;
        if (code == SQLITE_CORRUPT || code == SQLITE_NOTADB)
            return false;
    }
    return true;
}

enum status schema_check(struct sqlite3 *db, const char *path, bool whole, struct why *why)
{
    struct stat st;
    if (whole || stat(path, &st) != 0 || st.st_size <= STORE_FULL_CHECK_BYTES)
        return sound(db, "PRAGMA quick_check(1)", why, path) ? STATUS_OK : STATUS_INVALID;
    static const char *const small[] = { "probe",        "recent",  "alert",       "alert_change",
                                         "event",        "journal", "calibration", "device",
                                         "journal_item", "outbox",  "state",       "meta" };
    for (size_t i = 0; i < sizeof small / sizeof *small; i++) {
        char pragma[64];
        snprintf(pragma, sizeof pragma, "PRAGMA quick_check('%s')", small[i]);
        if (!sound(db, pragma, why, path))
            return STATUS_INVALID;
    }
    if (!ends_sound(db))
        return why_say(why, STATUS_INVALID, "store %s is damaged (%s)", path, sqlite3_errmsg(db));
    return STATUS_OK;
}
