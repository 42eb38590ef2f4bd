/* The durable hand-over: a preallocated ring of messages between the receiving thread and the main thread.
 *
 * A record is complete, with length, sequence number and checksum, before inbox_put returns; only then is the
 * message acknowledged. STORE_SYNC_WINDOW: the file lies on tmpfs and is mapped shared; it survives any death
 * of the process. STORE_SYNC_EVERY: the file lies in the state directory, pwrite and fdatasync before
 * inbox_put returns. One writer thread, one reader thread. Nothing read back from the file is trusted.
 *
 * The file: a head of one page, then records on 8-byte bounds. Sequence numbers rise by one for ever, so the
 * records in force are those that follow the released position without a step back; no count of them is kept
 * in the file that could disagree. The boot clock of records from before a reboot is re-based by their wall
 * time. */
#ifndef LENTIC_ADAPTERS_INBOX_H
#define LENTIC_ADAPTERS_INBOX_H

#include "adapters/inbox_file.h"
#include "base/status.h"
#include "model/message.h"
#include "model/site.h"

struct inbox;

#define INBOX_BYTES_MIN ((size_t)128 * 1024) /* smallest ring: some of the longest messages */

/* Opens or makes the ring. A file whose head is damaged is set aside (renamed with ".damaged-EPOCH") and a
 * new one made, told in why; why is empty when there is nothing to tell. A file of another size is made anew
 * when it holds nothing unreleased, else kept as it is until a later start, told in why. Records found after
 * the released position are handed out again by inbox_next. STATUS_INVALID: bytes below INBOX_BYTES_MIN.
 * STATUS_REFUSED: another process has it open. STATUS_IO: no room on the file system, or it cannot be read.
 */
enum status inbox_open(const char *path, size_t bytes, enum store_sync sync, struct inbox **out,
                       struct why *why) LENTIC_CHECKED;
void inbox_close(struct inbox *inbox);

/* Receiving thread. Waits at most wait_ms for room (0: not at all), then STATUS_FULL: for QoS 1 the caller
 * does not acknowledge. STATUS_INVALID: longer than MESSAGE_*_MAX or INBOX_CORRELATION_MAX. STATUS_IO: the
 * write failed (only STORE_SYNC_EVERY); do not acknowledge. Counts what it refuses. */
enum status inbox_put(struct inbox *inbox, const struct message *m, int wait_ms) LENTIC_CHECKED;

/* Main thread: the next record in order. The message's pointers are good until the record is released.
 * STATUS_NONE: nothing there. A damaged record is stepped over and counted. */
enum status inbox_next(struct inbox *inbox, struct message *m, uint64_t *seq) LENTIC_CHECKED;

/* Begin handing out again from the record after seq (restart: the position the state was saved at). Before
 * the first inbox_put also for a seq the ring never reached (it was lost with the tmpfs): numbering then goes
 * on after it. */
void inbox_rewind(struct inbox *inbox, uint64_t seq);

/* Everything up to seq is settled: its room is free again. Not beyond what inbox_next has handed out. */
void inbox_release(struct inbox *inbox, uint64_t seq);

/* Readable while records wait (eventfd). */
int inbox_fd(const struct inbox *inbox);

struct inbox_counts {
    uint64_t put, refused_full, refused_long, failed, damaged; /* since inbox_open */
    uint64_t waiting_records;                                  /* not handed out yet */
    size_t used_bytes, size_bytes;
    uint64_t last_seq;
};
struct inbox_counts inbox_counts(struct inbox *inbox);

#endif
