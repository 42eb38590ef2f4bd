/* The store's file: opening, layout, versions, check, and what to do when it is damaged. */
#ifndef LENTIC_ADAPTERS_STORE_SCHEMA_H
#define LENTIC_ADAPTERS_STORE_SCHEMA_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "base/status.h"

struct sqlite3;

#define STORE_APPLICATION_ID 0x4C4E5443 /* "LNTC": tells our files from other programs' */

/* A file larger than this is not checked as a whole at start (seconds a gigabyte): its small tables are, and
 * of the large ones some hundreds of entries, which walks the tree from the root. */
#define STORE_FULL_CHECK_BYTES (INT64_C(64) << 20)

/* One step up. sql brings version - 1 to version. */
struct schema_step {
    int version;
    const char *sql;
};
extern const struct schema_step schema_steps[];
extern const int schema_step_count;

/* Opens or makes the file for writing, with everything that holds for a connection (WAL, bounded cache and
 * log). STATUS_INVALID: damaged. STATUS_REFUSED: another program's file, or newer than steps[count - 1].
 * STATUS_IO: cannot be opened, is read-only, the disk is full. *db is NULL unless STATUS_OK. */
enum status schema_open(const char *path, const struct schema_step *steps, int count, struct sqlite3 **db,
                        struct why *why) LENTIC_CHECKED;

/* Brings the file to the newest version. A file that holds data is copied first (PATH.before-vN, an existing
 * copy stays); all steps run in one transaction, so that a kill at any point leaves the old version whole. */
enum status schema_migrate(struct sqlite3 *db, const char *path, const struct schema_step *steps, int count,
                           struct why *why) LENTIC_CHECKED;

/* The same without the copy, for a file that nothing would be lost with. */
enum status schema_climb(struct sqlite3 *db, const char *path, const struct schema_step *steps, int count,
                         struct why *why) LENTIC_CHECKED;

/* STATUS_INVALID: damaged, with what was found. whole: also a large file is read from end to end. */
enum status schema_check(struct sqlite3 *db, const char *path, bool whole, struct why *why) LENTIC_CHECKED;

/* Renames the file with its -wal and -shm to the first free PATH.BECAUSE-N ("damaged", "replaced"), written
 * to aside. */
enum status schema_set_aside(const char *path, const char *because, char *aside, size_t cap,
                             struct why *why) LENTIC_CHECKED;

/* Fills the new, empty file at path with what can still be read from the damaged one: first laid out as that
 * was, then brought to steps[count - 1]. Small tables and rollups whole, at most SALVAGE_READINGS_MAX
 * readings, newest first (the rest stays in the damaged file). *rows: how many. */
#define SALVAGE_READINGS_MAX 2000000
enum status schema_salvage(struct sqlite3 *db, const char *path, const char *damaged_path,
                           const struct schema_step *steps, int count, int64_t *rows,
                           struct why *why) LENTIC_CHECKED;

/* The status that an SQLite result code means, with a sentence that names the file and what to do. */
enum status schema_status(struct sqlite3 *db, int code, const char *path, struct why *why) LENTIC_CHECKED;

/* Copies what the connection sees now, in one piece, into the file `copy`. Returns an SQLite result code. */
int schema_copy(struct sqlite3 *db, const char *copy);

int64_t schema_number(struct sqlite3 *db, const char *sql,
                      int64_t otherwise);            /* first column of the first row */
int schema_run(struct sqlite3 *db, const char *sql); /* an SQLite result code */

#endif
