/* The store: SQLite in WAL mode, one writer. Readings gather in memory and are committed in one transaction
 * with the inbox position; alerts, journal, calibrations and outbox are committed at once. The only file with
 * store_schema and store_query to include sqlite3.h. */
#ifndef LENTIC_ADAPTERS_STORE_H
#define LENTIC_ADAPTERS_STORE_H

#include "base/status.h"
#include "model/effect.h"
#include "model/site.h"

struct store;

/* Opens or makes the store, checks it (quick_check), migrates it (copy first). STATUS_REFUSED: a newer
 * version or another program's file; *out is NULL. STATUS_IO: it cannot be opened now (read-only, disk full,
 * no folder); *out is set all the same: it keeps what fits in memory and tries again with backoff at
 * store_commit. STATUS_OK otherwise, with an empty why->text unless damage was found: then it was set aside
 * under another name and salvaged what can be, as why tells. site must outlive the store or the next
 * store_bind. */
enum status store_open(const struct site *site, struct store **out, struct why *why) LENTIC_CHECKED;
void store_close(struct store *store);

/* The site after a reload: streams may have moved; a probe is the same while stream.name, place and quantity
 * are. The old site must still be there: what waits in memory is carried over by name. */
enum status store_bind(struct store *store, const struct site *site, struct why *why) LENTIC_CHECKED;

/* Buffers a reading (or the revision of one). Bounded: when the store has failed for long the oldest unstored
 * give way, counted. */
void store_put_reading(struct store *store, const struct reading *r);

/* Held in a bounded list until the next store_commit, which the caller forces for alerts and journal. When
 * the list is full an event, then an alert change that a newer one of the same alert follows, then the oldest
 * gives way, counted. */
void store_hold_alert(struct store *store, const struct alert *a, enum alert_change change, utc_t t,
                      bool announce);
void store_hold_journal(struct store *store, const struct journal_entry *e, utc_t t);
void store_hold_event(struct store *store, const struct event *e, utc_t t);

/* inbox_seq: every record up to it is in what was put so far. Commits when due (commit_s, commit_rows) or
 * when forced. *committed tells the position now safe. Does not wait for the disk: with sync = "every" the
 * position follows when it has been synced, and while the log is being cut nothing is committed. STATUS_IO:
 * not committed, kept, tried again, after a failure with backoff. */
enum status store_commit(struct store *store, uint64_t inbox_seq, struct now now, bool force,
                         uint64_t *committed) LENTIC_CHECKED;
/* At the end of a run: waits for whatever the disk is busy with. */
enum status store_commit_last(struct store *store, uint64_t inbox_seq, struct now now,
                              uint64_t *committed) LENTIC_CHECKED;
mono_t store_deadline(const struct store *store);
uint64_t store_inbox_position(struct store *store); /* as last committed */

/* Settling (every 17 minutes), rollups (twice a day), retention: one bounded piece of work per call; true
 * while more is due. */
bool store_tend(struct store *store, struct now now);

/* State blobs (engine snapshots) by name. load: 0 when there is none; the caller frees *out. */
enum status store_save_state(struct store *store, const char *name, const void *bytes,
                             size_t n) LENTIC_CHECKED;
size_t store_load_state(struct store *store, const char *name, uint8_t **out);

/* Restart: readings at or after `from`, each probe's oldest first. */
enum status store_each_reading(struct store *store, utc_t from,
                               void (*each)(void *context, const struct reading *r),
                               void *context) LENTIC_CHECKED;
enum status store_each_alert(struct store *store, void (*each)(void *context, const struct alert *a),
                             void *context) LENTIC_CHECKED;
utc_t store_newest(struct store *store); /* newest reading, UTC_NONE */

struct store_counts {
    uint64_t stored, buffered, given_way, failures, commits;
    utc_t last_commit;
    bool failing;
    char reason[160];
    int64_t wal_bytes, file_bytes;
    uint64_t outbox_dropped; /* messages to people that gave way in a full outbox */
};
struct store_counts store_counts(const struct store *store);

/* How long the log is and, where it can be told, which other process reads the store at this moment: "the log
 * is 70 MiB: process 4711 (sqlite3) has the store open and is reading it". */
void store_tell_log(const struct store *store, char *buf, size_t cap);

#endif
