#include "adapters/inbox.h"

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/inbox_file.h"

struct inbox {
    struct inbox_file file;
    int event_fd;
    struct now opened;
    uint64_t earlier_until; /* the boot clock of these is of an earlier boot */

    uint64_t write_seq;                        /* writer */
    uint8_t *build;                            /* writer: the record before it goes into the file */
    uint64_t read_pos, read_seq;               /* reader */
    uint64_t released_seq;                     /* reader */
    _Atomic uint64_t write_pos, last_seq;      /* writer tells reader */
    _Atomic uint64_t released_pos, handed_seq; /* reader tells writer, and the counts */
    _Atomic bool signalled;
    _Atomic int waiters;
    pthread_mutex_t room_lock;
    pthread_cond_t room_made;
    _Atomic uint64_t put, refused_full, refused_long, failed, damaged;
};

/* Walks what is in the ring after the released position: the writer goes on behind it. */
static void find_end(struct inbox *inbox, uint64_t released_pos, uint64_t released_seq)
{
    uint64_t pos = released_pos, last = released_seq, end = released_pos + inbox->file.data_bytes;
    struct inbox_record r;
    bool skipped;
    uint64_t written = released_pos;
    while (inbox_file_find(&inbox->file, &pos, end, last, &r, &skipped)) {
        last = r.seq;
        pos += r.len;
        written = pos;
    }
    inbox->write_seq = last;
    atomic_store(&inbox->write_pos, written);
    atomic_store(&inbox->last_seq, last);
}

/* Takes up what the file holds after the released position. */
static bool resume(struct inbox *inbox)
{
    struct inbox_mark mark = inbox_file_released(&inbox->file);
    inbox->read_pos = mark.pos;
    inbox->read_seq = inbox->released_seq = mark.seq;
    atomic_store(&inbox->released_pos, mark.pos);
    atomic_store(&inbox->handed_seq, mark.seq);
    find_end(inbox, mark.pos, mark.seq);
    return inbox_file_mark_boot(&inbox->file, inbox->write_seq, &inbox->earlier_until) &&
           inbox_file_release(&inbox->file, mark);
}

static bool init_sync(struct inbox *inbox)
{
    pthread_condattr_t attr;
    pthread_mutex_init(&inbox->room_lock, NULL);
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&inbox->room_made, &attr);
    pthread_condattr_destroy(&attr);
    inbox->event_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    return inbox->event_fd >= 0;
}

static enum status open_ring(const char *path, size_t want, enum store_sync sync, struct inbox **out,
                             struct why *why)
{
    struct inbox *inbox = calloc(1, sizeof *inbox);
    uint8_t *build = calloc(1, INBOX_RECORD_MAX);
    if (inbox == NULL || build == NULL) {
        free(inbox);
        free(build);
        return why_say(why, STATUS_IO, "no memory for the message ring");
    }
    inbox->build = build;
    inbox->opened = clock_now();
    enum status status = inbox_file_open(path, want, sync, &inbox->file, why);
    if (!init_sync(inbox) && status == STATUS_OK)
        status = why_say(why, STATUS_IO, "no descriptor left for the message ring: %s", strerror(errno));
    if (status == STATUS_OK && !resume(inbox))
        status = why_say(why, STATUS_IO, "%s: cannot write to the message ring: %s", path, strerror(errno));
    if (status == STATUS_OK)
        *out = inbox;
    else
        inbox_close(inbox);
    return status;
}

static void signal_reader(struct inbox *inbox)
{
    if (!atomic_exchange(&inbox->signalled, true))
        eventfd_write(inbox->event_fd, 1);
}

enum status inbox_open(const char *path, size_t bytes, enum store_sync sync, struct inbox **out,
                       struct why *why)
{
    size_t want = bytes / INBOX_ALIGN * INBOX_ALIGN;
    if (bytes < INBOX_BYTES_MIN)
        return why_say(why, STATUS_INVALID, "%s: a message ring of %zu bytes is too small: at least %zu",
                       path, bytes, INBOX_BYTES_MIN);
    if (why != NULL)
        why->text[0] = '\0';
    enum status status = open_ring(path, want, sync, out, why);
    if (status != STATUS_OK)
        return status;
    struct inbox_counts counts = inbox_counts(*out);
    if (counts.size_bytes != want && counts.used_bytes == 0) {
        uint64_t seq = (*out)->write_seq;
        inbox_close(*out);
        status = inbox_file_make(path, want, why);
        if (status == STATUS_OK)
            status = open_ring(path, want, sync, out, why);
        if (status == STATUS_OK)
            inbox_rewind(*out, seq);
    } else if (counts.size_bytes != want) {
        (void)why_say(why, STATUS_OK, "%s: the message ring keeps its %zu KiB while messages wait in it",
                      path, counts.size_bytes / 1024);
    }
    if (status == STATUS_OK && counts.waiting_records > 0)
        signal_reader(*out);
    return status;
}

void inbox_close(struct inbox *inbox)
{
    if (inbox == NULL)
        return;
    inbox_file_close(&inbox->file);
    if (inbox->event_fd >= 0)
        close(inbox->event_fd);
    pthread_cond_destroy(&inbox->room_made);
    pthread_mutex_destroy(&inbox->room_lock);
    free(inbox->build);
    free(inbox);
}

/* Where a record of that length would go: a record does not cross the ring's end. */
static uint64_t next_place(const struct inbox *inbox, size_t len)
{
    uint64_t pos = atomic_load_explicit(&inbox->write_pos, memory_order_relaxed);
    size_t rest = inbox_file_room(&inbox->file, pos);
    return rest < len ? pos + rest : pos;
}

static bool has_room(struct inbox *inbox, size_t len)
{
    return next_place(inbox, len) + len - atomic_load(&inbox->released_pos) <= inbox->file.data_bytes;
}

static bool wait_for_room(struct inbox *inbox, size_t len, int wait_ms)
{
    if (has_room(inbox, len))
        return true;
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += wait_ms / 1000;
    until.tv_nsec += (long)(wait_ms % 1000) * 1000000;
    if (until.tv_nsec >= 1000000000) {
        until.tv_sec++;
        until.tv_nsec -= 1000000000;
    }
    pthread_mutex_lock(&inbox->room_lock);
    atomic_fetch_add(&inbox->waiters, 1);
    int rc = 0;
    while (!has_room(inbox, len) && rc == 0 && wait_ms > 0)
        rc = pthread_cond_timedwait(&inbox->room_made, &inbox->room_lock, &until);
    atomic_fetch_sub(&inbox->waiters, 1);
    pthread_mutex_unlock(&inbox->room_lock);
    return has_room(inbox, len);
}

static struct inbox_record describe(const struct message *m, uint64_t seq)
{
    struct inbox_record r = {
        .seq = seq,
        .utc_ms = m->now.utc.ms,
        .mono_ms = m->now.mono.ms,
        .topic_len = m->topic_len,
        .payload_len = m->payload_len,
        .reply_len = m->reply_topic != NULL ? m->reply_topic_len : 0,
        .correlation_len = m->correlation != NULL ? m->correlation_len : 0,
        .expiry_left_s = m->expiry_left_s,
        .qos = (uint8_t)m->qos,
        .retain = m->retain,
        .dup = m->dup,
        .trusted = m->now.trusted,
        .has_reply = m->reply_topic != NULL,
        .has_correlation = m->correlation != NULL,
    };
    return r;
}

static uint8_t *append(uint8_t *at, const char *bytes, uint32_t n)
{
    if (n > 0)
        memcpy(at, bytes, n);
    return at + n;
}

static void build_record(struct inbox *inbox, const struct inbox_record *r, const struct message *m)
{
    uint8_t *end = inbox->build + r->len;
    uint8_t *at = inbox->build + sizeof *r;
    at = append(at, m->topic, r->topic_len);
    at = append(at, m->payload, r->payload_len);
    at = append(at, m->reply_topic, r->reply_len);
    at = append(at, m->correlation, r->correlation_len);
    memset(at, 0, (size_t)(end - at));
}

enum status inbox_put(struct inbox *inbox, const struct message *m, int wait_ms)
{
    struct inbox_record r = describe(m, inbox->write_seq + 1);
    if (!inbox_file_measure(&r)) {
        atomic_fetch_add(&inbox->refused_long, 1);
        return STATUS_INVALID;
    }
    if (!wait_for_room(inbox, r.len, wait_ms)) {
        atomic_fetch_add(&inbox->refused_full, 1);
        return STATUS_FULL;
    }
    build_record(inbox, &r, m);
    uint64_t pos = next_place(inbox, r.len);
    if (!inbox_file_write(&inbox->file, pos, &r, inbox->build)) {
        atomic_fetch_add(&inbox->failed, 1);
        return STATUS_IO;
    }
    inbox->write_seq = r.seq;
    atomic_fetch_add(&inbox->put, 1);
    atomic_store(&inbox->last_seq, r.seq);
    atomic_store(&inbox->write_pos, pos + r.len);
    signal_reader(inbox);
    return STATUS_OK;
}

static const char *take(const char **at, uint32_t n)
{
    const char *here = *at;
    *at += n;
    return here;
}

static struct now stamps_of(const struct inbox *inbox, const struct inbox_record *r)
{
    struct now now = { .utc.ms = r->utc_ms, .mono.ms = r->mono_ms, .trusted = r->trusted };
    if (r->seq <= inbox->earlier_until) {
        now.mono = mono_of_utc(now.utc, inbox->opened);
        if (now.mono.ms > inbox->opened.mono.ms)
            now.mono = inbox->opened.mono;
    }
    return now;
}

static void fill_message(const struct inbox *inbox, uint64_t pos, const struct inbox_record *r,
                         struct message *m)
{
    const char *at = (const char *)inbox_file_place(&inbox->file, pos) + sizeof *r;
    *m = (struct message){
        .topic_len = r->topic_len,
        .payload_len = r->payload_len,
        .qos = r->qos,
        .retain = r->retain != 0,
        .dup = r->dup != 0,
        .now = stamps_of(inbox, r),
        .expiry_left_s = r->expiry_left_s,
        .reply_topic_len = r->reply_len,
        .correlation_len = r->correlation_len,
    };
    m->topic = take(&at, r->topic_len);
    m->payload = take(&at, r->payload_len);
    const char *reply = take(&at, r->reply_len);
    m->reply_topic = r->has_reply ? reply : NULL;
    m->correlation = r->has_correlation ? at : NULL;
}

/* Reads the bell before looking once more: a record put in between rings it again. */
static bool nothing_waits(struct inbox *inbox)
{
    eventfd_t rung;
    if (inbox->read_pos != atomic_load(&inbox->write_pos))
        return false;
    if (eventfd_read(inbox->event_fd, &rung) == 0 || atomic_load(&inbox->signalled))
        atomic_store(&inbox->signalled, false);
    return inbox->read_pos == atomic_load(&inbox->write_pos);
}

enum status inbox_next(struct inbox *inbox, struct message *m, uint64_t *seq)
{
    struct inbox_record r;
    bool skipped = false;
    while (!nothing_waits(inbox)) {
        uint64_t pos = inbox->read_pos, end = atomic_load(&inbox->write_pos);
        if (!inbox_file_find(&inbox->file, &pos, end, inbox->read_seq, &r, &skipped)) {
            atomic_fetch_add(&inbox->damaged, 1);
            inbox->read_pos = end;
            continue;
        }
        if (skipped || r.seq != inbox->read_seq + 1)
            atomic_fetch_add(&inbox->damaged, 1);
        fill_message(inbox, pos, &r, m);
        inbox->read_pos = pos + r.len;
        inbox->read_seq = *seq = r.seq;
        atomic_store(&inbox->handed_seq, r.seq);
        return STATUS_OK;
    }
    return STATUS_NONE;
}

/* Position right behind the last record that is not above seq. */
static uint64_t position_after(const struct inbox *inbox, uint64_t seq, uint64_t end, uint64_t *reached)
{
    uint64_t pos = atomic_load(&inbox->released_pos), behind = pos, after = inbox->released_seq;
    struct inbox_record r;
    bool skipped;
    while (after < seq && inbox_file_find(&inbox->file, &pos, end, after, &r, &skipped) && r.seq <= seq) {
        after = r.seq;
        behind = pos += r.len;
    }
    *reached = after;
    return behind;
}

void inbox_rewind(struct inbox *inbox, uint64_t seq)
{
    uint64_t end = atomic_load(&inbox->write_pos), reached;
    if (seq > atomic_load(&inbox->last_seq) && atomic_load(&inbox->put) == 0) {
        inbox->read_pos = end;
        inbox->read_seq = inbox->released_seq = inbox->write_seq = seq;
        inbox->earlier_until = 0;
        atomic_store(&inbox->last_seq, seq);
        if (inbox_file_release(&inbox->file, (struct inbox_mark){ end, seq }))
            atomic_store(&inbox->released_pos, end);
    } else {
        inbox->read_pos = position_after(inbox, seq, end, &reached);
        inbox->read_seq = reached;
    }
    atomic_store(&inbox->handed_seq, inbox->read_seq);
    if (inbox->read_pos != end)
        signal_reader(inbox);
}

static void wake_writer(struct inbox *inbox)
{
    if (atomic_load(&inbox->waiters) == 0)
        return;
    pthread_mutex_lock(&inbox->room_lock);
    pthread_cond_signal(&inbox->room_made);
    pthread_mutex_unlock(&inbox->room_lock);
}

void inbox_release(struct inbox *inbox, uint64_t seq)
{
    if (seq > inbox->read_seq)
        seq = inbox->read_seq;
    if (seq <= inbox->released_seq)
        return;
    uint64_t reached = seq;
    uint64_t pos =
        seq == inbox->read_seq ? inbox->read_pos : position_after(inbox, seq, inbox->read_pos, &reached);
    /* The mark is safe before its room is given to the writer; when it cannot be written the room stays
     * taken. */
    if (!inbox_file_release(&inbox->file, (struct inbox_mark){ pos, seq }))
        return;
    inbox->released_seq = seq;
    atomic_store(&inbox->released_pos, pos);
    wake_writer(inbox);
}

int inbox_fd(const struct inbox *inbox)
{
    return inbox->event_fd;
}

struct inbox_counts inbox_counts(struct inbox *inbox)
{
    uint64_t released = atomic_load(&inbox->released_pos), handed = atomic_load(&inbox->handed_seq);
    uint64_t last = atomic_load(&inbox->last_seq);
    return (struct inbox_counts){
        .put = atomic_load(&inbox->put),
        .refused_full = atomic_load(&inbox->refused_full),
        .refused_long = atomic_load(&inbox->refused_long),
        .failed = atomic_load(&inbox->failed),
        .damaged = atomic_load(&inbox->damaged),
        .waiting_records = last > handed ? last - handed : 0,
        .used_bytes = (size_t)(atomic_load(&inbox->write_pos) - released),
        .size_bytes = inbox->file.data_bytes,
        .last_seq = last,
    };
}
