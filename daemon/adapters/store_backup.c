#include "adapters/store_backup.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "adapters/store_schema.h"

#define PATH_CAP 700

static enum status open_to_read(const char *path, sqlite3 **db, struct why *why)
{
    *db = NULL;
    if (access(path, R_OK) != 0)
        return why_say(why, STATUS_IO, "%s cannot be read: %s", path, strerror(errno));
    int code = sqlite3_open_v2(path, db, SQLITE_OPEN_READONLY, NULL);
    if (code != SQLITE_OK || schema_number(*db, "SELECT count(*) FROM sqlite_master", -1) < 0)
        return why_say(why, STATUS_INVALID, "%s cannot be read as a store: %s", path, sqlite3_errmsg(*db));
    if (schema_number(*db, "PRAGMA application_id", 0) != STORE_APPLICATION_ID)
        return why_say(why, STATUS_REFUSED, "%s is not a store of this program", path);
    int newest = schema_steps[schema_step_count - 1].version;
    int version = (int)schema_number(*db, "PRAGMA user_version", 0);
    if (version > newest)
        return why_say(why, STATUS_REFUSED,
                       "%s has version %d, this program knows up to %d: install the newer program", path,
                       version, newest);
    return STATUS_OK;
}

static void count(sqlite3 *db, const char *path, struct backup_facts *facts)
{
    struct stat st;
    facts->bytes = stat(path, &st) == 0 ? st.st_size : 0;
    facts->readings =
        schema_number(db, "SELECT (SELECT count(*) FROM recent) + (SELECT count(*) FROM reading)", 0);
    facts->alert_changes = schema_number(db, "SELECT count(*) FROM alert_change", 0);
    facts->notes = schema_number(db, "SELECT count(*) FROM journal", 0);
    facts->newest.ms = schema_number(db,
                                     "SELECT max(coalesce((SELECT max(t_ms) FROM recent), 0), "
                                     "coalesce((SELECT max(t_ms) FROM reading), 0))",
                                     0);
    if (facts->newest.ms == 0)
        facts->newest = UTC_NONE;
    facts->version = (int)schema_number(db, "PRAGMA user_version", 0);
}

enum status store_backup_check(const char *path, struct backup_facts *facts, struct why *why)
{
    sqlite3 *db;
    enum status st = open_to_read(path, &db, why);
    if (st == STATUS_OK)
        st = schema_check(db, path, true, why);
    if (st == STATUS_OK)
        count(db, path, facts);
    sqlite3_close(db);
    return st;
}

/* A copy of a store in WAL mode would want files of its own beside it as soon as somebody looks into it. */
static bool make_plain(const char *path)
{
    sqlite3 *db = NULL;
    bool ok = sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK &&
              schema_run(db, "PRAGMA journal_mode=DELETE") == SQLITE_OK;
    return sqlite3_close(db) == SQLITE_OK && ok;
}

static void sync_folder_of(const char *path)
{
    char copy[PATH_CAP];
    snprintf(copy, sizeof copy, "%s", path);
    int fd = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd);
        close(fd);
    }
}

static enum status copy_to(const char *from, const char *part, struct why *why)
{
    sqlite3 *db;
    enum status st = open_to_read(from, &db, why);
    if (st == STATUS_OK) {
        sqlite3_busy_timeout(db, 5000);
        int fd = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
        if (fd < 0)
            st = why_say(why, STATUS_IO, "%s cannot be written: %s", part, strerror(errno));
        else if (close(fd), schema_copy(db, part) != SQLITE_OK || !make_plain(part))
            st = why_say(why, STATUS_IO, "copying %s to %s failed: is there space on that disk?", from, part);
    }
    sqlite3_close(db);
    return st;
}

/* Copies and checks under a name that cannot pass for a finished copy. */
static enum status copy_checked(const char *from, const char *part, struct backup_facts *facts,
                                struct why *why)
{
    unlink(part);
    enum status st = copy_to(from, part, why);
    if (st == STATUS_OK)
        st = store_backup_check(part, facts, why);
    if (st != STATUS_OK)
        unlink(part);
    return st;
}

enum status store_backup(const char *from, const char *to, struct backup_facts *facts, struct why *why)
{
    char part[PATH_CAP];
    snprintf(part, sizeof part, "%s.part", to);
    if (access(to, F_OK) == 0)
        return why_say(why, STATUS_REFUSED, "%s is there already: a copy is never written over another", to);
    enum status st = copy_checked(from, part, facts, why);
    if (st != STATUS_OK)
        return st;
    if (rename(part, to) != 0)
        return why_say(why, STATUS_IO, "%s cannot be renamed to %s: %s", part, to, strerror(errno));
    sync_folder_of(to);
    return STATUS_OK;
}

enum status store_restore(const char *copy, const char *path, char *aside, size_t cap,
                          struct backup_facts *facts, struct why *why)
{
    char part[PATH_CAP];
    struct stat old;
    snprintf(part, sizeof part, "%s.restoring", path);
    aside[0] = '\0';
    bool replaces = stat(path, &old) == 0;
    enum status st = copy_checked(copy, part, facts, why);
    /* Restored by root, written by the service's own user. */
    if (st == STATUS_OK && replaces && chown(part, old.st_uid, old.st_gid) != 0)
        st =
            why_say(why, STATUS_IO, "%s cannot be given to the owner of %s: %s", part, path, strerror(errno));
    if (st == STATUS_OK && replaces)
        st = schema_set_aside(path, "replaced", aside, cap, why);
    if (st != STATUS_OK)
        return st;
    if (rename(part, path) != 0)
        return why_say(why, STATUS_IO, "%s cannot be renamed to %s: %s", part, path, strerror(errno));
    sync_folder_of(path);
    return STATUS_OK;
}
