/* The file behind adapters/inbox: head, marks and records of the ring, and the search for sound records in
 * it. */
#ifndef LENTIC_ADAPTERS_INBOX_FILE_H
#define LENTIC_ADAPTERS_INBOX_FILE_H

#include "base/status.h"
#include "model/message.h"
#include "model/site.h"

#define INBOX_ALIGN           ((size_t)8)
#define INBOX_CORRELATION_MAX 256 /* bytes of MQTT 5 correlation data */

/* Positions count bytes for ever; the place in the ring is the position modulo data_bytes. */
struct inbox_file {
    int fd;
    enum store_sync sync;
    size_t data_bytes;
    uint8_t *map; /* the whole file; written to only with STORE_SYNC_WINDOW */
    uint32_t salt;
};

struct inbox_mark {
    uint64_t pos, seq;
};

struct inbox_record {
    uint32_t magic, len; /* with the bytes behind it, a multiple of INBOX_ALIGN */
    uint64_t seq;
    int64_t utc_ms, mono_ms;
    uint32_t topic_len, payload_len, reply_len, correlation_len, expiry_left_s;
    uint32_t crc;
    uint8_t qos, retain, dup, trusted, has_reply, has_correlation, pad[2];
};

#define INBOX_RECORD_MAX                                                                                     \
    (sizeof(struct inbox_record) + MESSAGE_TOPIC_MAX + MESSAGE_PAYLOAD_MAX + MESSAGE_REPLY_MAX +             \
     INBOX_CORRELATION_MAX + INBOX_ALIGN)

/* Opens, locks and maps the ring, or makes one of data_bytes; see inbox_open. fd -1 and map NULL on failure.
 */
enum status inbox_file_open(const char *path, size_t data_bytes, enum store_sync sync,
                            struct inbox_file *file, struct why *why) LENTIC_CHECKED;
void inbox_file_close(struct inbox_file *file);

/* Makes a fresh ring in place of whatever stands there, in one step. */
enum status inbox_file_make(const char *path, size_t data_bytes, struct why *why) LENTIC_CHECKED;

/* The released position. When its marks are damaged: before the oldest sound record in the ring. */
struct inbox_mark inbox_file_released(const struct inbox_file *file);
bool inbox_file_release(struct inbox_file *file, struct inbox_mark mark); /* false: not written */

/* Every record up to the number returned in *earlier_until bears the boot clock of an earlier boot; last_seq
 * is the last record found. false: not written. */
bool inbox_file_mark_boot(struct inbox_file *file, uint64_t last_seq, uint64_t *earlier_until);

/* Bytes from pos to the ring's end: a record does not cross it. */
size_t inbox_file_room(const struct inbox_file *file, uint64_t pos);
uint8_t *inbox_file_place(const struct inbox_file *file, uint64_t pos);

/* Sets len of a described record; false when a part is longer than allowed. */
bool inbox_file_measure(struct inbox_record *r);
/* Puts head and checksum on the record whose parts stand at bytes + sizeof *r, and writes it. */
bool inbox_file_write(struct inbox_file *file, uint64_t pos, struct inbox_record *r, uint8_t *bytes);

/* The first sound record at or after *pos and before end whose number is above after; *skipped tells whether
 * anything but the unused rest before the ring's end lay between. */
bool inbox_file_find(const struct inbox_file *file, uint64_t *pos, uint64_t end, uint64_t after,
                     struct inbox_record *r, bool *skipped);

#endif
