/* The engine's state survives: beside the ring on tmpfs, exact as of a position in the ring, and now and then
 * in the store for the day the power goes. Whichever is newer is taken up; the ring's records after it run
 * through the engine again, and what the store has already is not stored twice. */
#include "app/daemon.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/clock.h"
#include "adapters/files.h"
#include "adapters/log.h"
#include "base/checksum.h"

#define STATE_NAME  "engine"
#define STATE_LEAST ((size_t)256 * 1024 * 1024)  /* of a larger configuration, so long as it fits */
#define MAGIC       UINT64_C(0x31304554415453ff) /* "\xffSTATE01" */

struct head {
    uint64_t magic, seq;
    int64_t utc_ms;
    uint32_t crc, length;
};

static void path_of(const struct daemon *d, char *buf, size_t cap)
{
    snprintf(buf, cap, "%s/state", d->site->store.runtime_dir);
}

void snapshot_save(struct daemon *d, bool also_store)
{
    size_t room = engine_save_room(d->pump.engine);
    uint8_t *bytes = malloc(sizeof(struct head) + room);
    struct why why = { "" };
    char path[512];
    uint64_t begin_us = clock_monotonic_us();
    if (bytes == NULL)
        return;
    size_t n = engine_save(d->pump.engine, bytes + sizeof(struct head), room, d->now);
    struct head head = { MAGIC, d->seq, d->now.utc.ms, checksum_crc32(0, bytes + sizeof head, n),
                         (uint32_t)n };
    memcpy(bytes, &head, sizeof head);
    path_of(d, path, sizeof path);
    if (n == 0)
        log_change(LOG_AT_ERROR, "snapshot", "the state is larger than planned for and was not saved");
    else if (files_write(path, bytes, sizeof head + n, 0600, &why) != STATUS_OK)
        log_change(LOG_AT_WARNING, "snapshot", "%s", why.text);
    else
        d->saved_seq = d->seq;
    if (n > 0 && also_store && store_save_state(d->store, STATE_NAME, bytes, sizeof head + n) == STATUS_OK)
        d->kept_at = d->now.mono;
    d->saved_at = d->now.mono;
    d->unsaved = false;
    d->save_ms = (int64_t)((clock_monotonic_us() - begin_us) / 1000);
    free(bytes);
}

static bool sound(const uint8_t *bytes, size_t n, struct head *head)
{
    if (n < sizeof *head)
        return false;
    memcpy(head, bytes, sizeof *head);
    return head->magic == MAGIC && head->length == n - sizeof *head &&
           head->crc == checksum_crc32(0, bytes + sizeof *head, head->length);
}

static void take(struct daemon *d, const uint8_t *bytes, const struct head *head, const char *from)
{
    int sections = engine_restore(d->pump.engine, bytes + sizeof *head, head->length, d->now);
    log_say(LOG_AT_INFO, "state taken up from %s: %d parts, as of record %llu", from, sections,
            (unsigned long long)head->seq);
    d->saved_seq = d->seq = head->seq;
}

void snapshot_restore(struct daemon *d)
{
    struct why why = { "" };
    struct head near_head = { 0 }, kept_head = { 0 };
    char path[512], *near = NULL;
    uint8_t *kept = NULL;
    size_t near_n = 0, kept_n = store_load_state(d->store, STATE_NAME, &kept);
    path_of(d, path, sizeof path);
    size_t most = sizeof(struct head) + engine_save_room(d->pump.engine);
    if (files_read(path, most > STATE_LEAST ? most : STATE_LEAST, &near, &near_n, &why) == STATUS_IO)
        log_say(LOG_AT_WARNING, "%s", why.text);
    bool near_ok = near != NULL && sound((const uint8_t *)near, near_n, &near_head);
    bool kept_ok = kept != NULL && sound(kept, kept_n, &kept_head);
    d->seq = d->safe = store_inbox_position(d->store);
    if (near != NULL && !near_ok)
        log_say(LOG_AT_WARNING, "%s is damaged and was not used", path);
    if (near_ok && (!kept_ok || near_head.seq >= kept_head.seq))
        take(d, (const uint8_t *)near, &near_head, path);
    else if (kept_ok)
        take(d, kept, &kept_head, "the store");
    free(near);
    free(kept);
}
