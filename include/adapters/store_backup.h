/* Copies of the store: taken while the daemon writes, checked before they count, put back. */
#ifndef LENTIC_ADAPTERS_STORE_BACKUP_H
#define LENTIC_ADAPTERS_STORE_BACKUP_H

#include "base/status.h"
#include "base/times.h"

/* What a copy holds, counted in the copy itself. */
struct backup_facts {
    int64_t bytes, readings, alert_changes, notes;
    utc_t newest; /* reading; UTC_NONE when there is none */
    int version;  /* of the layout */
};

/* Copies the store `from` as of one moment into the new file `to` (one plain file, nothing beside it), reads
 * the copy from end to end and counts what it holds. The copy has its name only once it is found sound.
 * STATUS_REFUSED: `to` is there already, or `from` is no store of ours or newer than this program.
 * STATUS_IO: cannot be read, or written. STATUS_INVALID: the copy is not sound; it was deleted. */
enum status store_backup(const char *from, const char *to, struct backup_facts *facts,
                         struct why *why) LENTIC_CHECKED;

/* The same look at a copy that is there. */
enum status store_backup_check(const char *path, struct backup_facts *facts, struct why *why) LENTIC_CHECKED;

/* Puts a checked copy in the place of the store. A store that is there is renamed with all that belongs to it
 * to the first free PATH.replaced-N, written to aside (empty: there was none). Nobody may have the store
 * open: the caller holds its lock. Statuses as for store_backup; the store in place is untouched unless
 * STATUS_OK. */
enum status store_restore(const char *copy, const char *path, char *aside, size_t cap,
                          struct backup_facts *facts, struct why *why) LENTIC_CHECKED;

#endif
