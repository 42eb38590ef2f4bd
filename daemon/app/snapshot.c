/* The engine's state survives: beside the ring on tmpfs, exact as of a position in the ring, and in the store
 * for the day the power goes: whole at the end, without the probes' windows of two days once a day, since all
 * windows take megabytes, and without the probes within the hour after an alert or an entry, every six at
 * least; windows are then filled in from stored readings. Whichever is newer is taken up; the ring's records
 * after it run through the engine again, and what the store has already is not stored twice.
 */
#include "app/daemon.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/clock.h"
#include "adapters/files.h"
#include "adapters/log.h"
#include "base/checksum.h"

#define STATE_WHOLE "engine"
#define STATE_BRIEF "engine-brief"
#define STATE_LEAST ((size_t)256 * 1024 * 1024) /* of a larger configuration, so long as it fits */
#define RECALL_MS   (2 * MS_PER_DAY)            /* of readings, at the most */

/* Beside the ring. */
#define SAVE_EVERY_MS    (10 * MS_PER_S) /* at the most this often, unless the ring fills; */
#define SAVE_SHARE       50              /* and so many times as long as one takes: a site of thousands */
#define SAVE_QUICK_MS    2               /* one that takes longer than this is not taken with every alert, */
#define SAVE_SHARE_ALERT 4               /* but so many times as long after the last one */
#define SAVE_FILLING     4096            /* records, or SNAPSHOT_FILLING_MS: while the ring fills */

#define SAVE_RETRY_MS MS_PER_S /* while the store will not commit what it would hold */

/* In the store. */
#define KEEP_EVERY_MS (6 * MS_PER_HOUR)
#define KEEP_NEWS_MS  MS_PER_HOUR /* when an alert or an entry has come */
#define KEEP_WHOLE_MS MS_PER_DAY

#define MAGIC       UINT64_C(0x31304554415453ff) /* "\xffSTATE01" */
#define MAGIC_DAILY UINT64_C(0x44304554415453ff) /* "\xffSTATE0D" */

struct head {
    uint64_t magic, seq;
    int64_t utc_ms;
    uint32_t crc, length;
};

static void path_of(const struct daemon *d, char *buf, size_t cap)
{
    snprintf(buf, cap, "%s/state", d->site->store.runtime_dir);
}

static size_t fill(struct daemon *d, uint8_t *bytes, size_t room, enum snapshot_keep what)
{
    uint8_t *body = bytes + sizeof(struct head);
    size_t n = what == SNAPSHOT_BRIEF   ? engine_save_brief(d->pump.engine, body, room, d->now)
               : what == SNAPSHOT_DAILY ? engine_save_daily(d->pump.engine, body, room, d->now)
                                        : engine_save(d->pump.engine, body, room, d->now);
    struct head head = { what == SNAPSHOT_DAILY ? MAGIC_DAILY : MAGIC, d->seq, d->now.utc.ms,
                         checksum_crc32(0, body, n), (uint32_t)n };
    memcpy(bytes, &head, sizeof head);
    return n;
}

/* bytes hold the whole state. */
static void keep(struct daemon *d, uint8_t *bytes, size_t n, size_t room, enum snapshot_keep what)
{
    const char *name = what == SNAPSHOT_BRIEF ? STATE_BRIEF : STATE_WHOLE;
    if (what != SNAPSHOT_WHOLE && (n = fill(d, bytes, room, what)) == 0)
        return;
    if (store_save_state(d->store, name, bytes, sizeof(struct head) + n) != STATUS_OK)
        return;
    d->kept_at = d->now.mono;
    d->news = false;
    if (what != SNAPSHOT_BRIEF)
        d->kept_whole_at = d->now.mono;
}

void snapshot_save(struct daemon *d, enum snapshot_keep also)
{
    size_t room = engine_save_room(d->pump.engine);
    uint8_t *bytes = malloc(sizeof(struct head) + room);
    struct why why = { "" };
    char path[512];
    uint64_t begin_us = clock_monotonic_us();
    if (bytes == NULL)
        return;
    size_t n = fill(d, bytes, room, SNAPSHOT_WHOLE);
    path_of(d, path, sizeof path);
    if (n == 0)
        log_change(LOG_AT_ERROR, "snapshot", "the state is larger than planned for and was not saved");
    else if (files_write_passing(path, bytes, sizeof(struct head) + n, 0600, &why) != STATUS_OK)
        log_change(LOG_AT_WARNING, "snapshot", "%s", why.text);
    else
        d->saved_seq = d->seq;
    if (n > 0 && also != SNAPSHOT_NEAR)
        keep(d, bytes, n, room, also);
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
    return (head->magic == MAGIC || head->magic == MAGIC_DAILY) && head->length == n - sizeof *head &&
           head->crc == checksum_crc32(0, bytes + sizeof *head, head->length);
}

static void take(struct daemon *d, const uint8_t *bytes, const struct head *head, const char *from)
{
    int sections = engine_restore(d->pump.engine, bytes + sizeof *head, head->length, d->now);
    log_say(LOG_AT_INFO, "state taken up from %s: %d parts, as of record %llu", from, sections,
            (unsigned long long)head->seq);
    d->saved_seq = d->seq = head->seq;
}

bool snapshot_is_time(const struct daemon *d, bool filling)
{
    int64_t rested_ms = d->now.mono.ms - d->saved_at.ms, share_ms = d->save_ms * SAVE_SHARE;
    if (filling)
        return rested_ms >= SNAPSHOT_FILLING_MS || d->seq - d->saved_seq >= SAVE_FILLING;
    return rested_ms >= (share_ms > SAVE_EVERY_MS ? share_ms : SAVE_EVERY_MS);
}

bool snapshot_is_urgent(const struct daemon *d)
{
    int64_t rested_ms = d->now.mono.ms - d->saved_at.ms;
    return d->unsaved && (d->save_ms < SAVE_QUICK_MS || rested_ms >= d->save_ms * SAVE_SHARE_ALERT);
}

mono_t snapshot_deadline(const struct daemon *d)
{
    mono_t rested = mono_add(d->saved_at, d->save_ms * SAVE_SHARE_ALERT);
    if (!d->unsaved)
        return MONO_NEVER;
    return rested.ms > d->now.mono.ms ? rested : mono_add(d->now.mono, SAVE_RETRY_MS);
}

enum snapshot_keep snapshot_keep_due(const struct daemon *d)
{
    if (d->now.mono.ms - d->kept_whole_at.ms >= KEEP_WHOLE_MS)
        return SNAPSHOT_DAILY;
    return d->now.mono.ms - d->kept_at.ms >= (d->news ? KEEP_NEWS_MS : KEEP_EVERY_MS) ? SNAPSHOT_BRIEF
                                                                                      : SNAPSHOT_NEAR;
}

struct kept {
    uint8_t *bytes;
    struct head head;
    bool ok;
};

static struct kept load_kept(struct daemon *d, const char *name)
{
    struct kept k = { .bytes = NULL };
    size_t n = store_load_state(d->store, name, &k.bytes);
    k.ok = k.bytes != NULL && sound(k.bytes, n, &k.head);
    return k;
}

struct recall {
    struct engine *engine;
    utc_t weeks_known;
};

static void recall_value(void *context, const struct reading *r)
{
    const struct recall *recall = context;
    engine_recall_value(recall->engine, r, recall->weeks_known);
}

/* Yesterday's state, on top of it the brief one of the last hour, and what was stored since, or for two days.
 */
static void take_kept(struct daemon *d, const struct kept *whole, const struct kept *brief)
{
    utc_t from = { d->now.utc.ms - RECALL_MS };
    struct recall recall = { d->pump.engine, { whole->ok ? whole->head.utc_ms : INT64_MIN } };
    if (whole->ok)
        take(d, whole->bytes, &whole->head, "the store");
    if (whole->ok && whole->head.magic == MAGIC && whole->head.utc_ms > from.ms)
        from.ms = whole->head.utc_ms + 1;
    if (brief->ok && (!whole->ok || brief->head.seq >= whole->head.seq))
        take(d, brief->bytes, &brief->head, "the store");
    if (store_each_reading(d->store, from, recall_value, &recall) != STATUS_OK)
        log_say(LOG_AT_WARNING,
                "the last days' readings could not be read: trends and daily ranges lack them");
}

void snapshot_restore(struct daemon *d)
{
    struct why why = { "" };
    struct head near_head = { 0 };
    char path[512], *near = NULL;
    size_t near_n = 0, most = sizeof(struct head) + engine_save_room(d->pump.engine);
    struct kept whole = load_kept(d, STATE_WHOLE), brief = load_kept(d, STATE_BRIEF);
    path_of(d, path, sizeof path);
    if (files_read(path, most > STATE_LEAST ? most : STATE_LEAST, &near, &near_n, &why) == STATUS_IO)
        log_say(LOG_AT_WARNING, "%s", why.text);
    bool near_ok = near != NULL && sound((const uint8_t *)near, near_n, &near_head);
    d->seq = d->safe = store_inbox_position(d->store);
    if (near != NULL && !near_ok)
        log_say(LOG_AT_WARNING, "%s is damaged and was not used", path);
    if (near_ok && (!whole.ok || near_head.seq >= whole.head.seq) &&
        (!brief.ok || near_head.seq >= brief.head.seq))
        take(d, (const uint8_t *)near, &near_head, path);
    else
        take_kept(d, &whole, &brief);
    free(near);
    free(whole.bytes);
    free(brief.bytes);
}
