/* The durable hand-over: a preallocated ring of messages between the receiving thread and the main thread.
 *
 * A record is complete, with length, sequence number and checksum, before inbox_put returns; only then is the
 * message acknowledged. STORE_SYNC_WINDOW: the file lies on tmpfs and is mapped shared; it survives any death of the
 * process. STORE_SYNC_EVERY: the file lies in the state directory, pwrite and fdatasync before inbox_put returns.
 * One writer thread, one reader thread. Nothing read back from the file is trusted. */
#ifndef LENTIC_ADAPTERS_INBOX_H
#define LENTIC_ADAPTERS_INBOX_H

#include <stdatomic.h>
#include "base/status.h"
#include "model/message.h"
#include "model/site.h"

struct inbox;

/* Opens or makes the ring. An existing file of another size or damaged head is set aside (renamed with
 * ".damaged-EPOCH") when it holds nothing that can be read, told in why; records found after the released position are handed out again by
 * inbox_next. */
enum status inbox_open(const char *path, size_t bytes, enum store_sync sync, struct inbox **out,
                       struct why *why) LENTIC_CHECKED;
void inbox_close(struct inbox *inbox);

/* Receiving thread. Waits at most wait_ms for room (0: not at all), then STATUS_FULL: for QoS 1 the caller does not
 * acknowledge. STATUS_INVALID: longer than MESSAGE_*_MAX. Counts what it refuses. */
enum status inbox_put(struct inbox *inbox, const struct message *m, int wait_ms) LENTIC_CHECKED;

/* Main thread: the next record in order. The message's pointers are good until the next call. STATUS_NONE: nothing there.
 * A damaged record is stepped over and counted. */
enum status inbox_next(struct inbox *inbox, struct message *m, uint64_t *seq) LENTIC_CHECKED;

/* Begin handing out again from the record after seq (restart: the position the state was saved at). */
void inbox_rewind(struct inbox *inbox, uint64_t seq);

/* Everything up to seq is settled: its room is free again. */
void inbox_release(struct inbox *inbox, uint64_t seq);

/* Readable while records wait (eventfd). */
int inbox_fd(const struct inbox *inbox);

struct inbox_counts {
    uint64_t put, refused_full, refused_long, damaged;
    uint64_t waiting_records;
    size_t used_bytes, size_bytes;
    uint64_t last_seq;
};
struct inbox_counts inbox_counts(struct inbox *inbox);

#endif
