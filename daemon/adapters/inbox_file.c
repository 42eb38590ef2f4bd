#include "adapters/inbox_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "base/checksum.h"

#define HEAD_BYTES   ((size_t)4096)
#define POSITION_MAX (UINT64_C(1) << 62)
#define HEAD_MAGIC   UINT64_C(0x31786f626e69746c)
#define RECORD_MAGIC UINT32_C(0x9d5a17c3)

/* Written once, when the file is made. */
struct identity {
    uint64_t magic, data_bytes;
    uint32_t salt; /* goes into every checksum: no payload can imitate a record */
    uint32_t crc;
};

/* Records up to earlier_until were put before the boot named here. */
struct boot_mark {
    char id[40];
    uint64_t earlier_until;
    uint32_t crc, pad;
};

/* Two of them in turn: dying while one is written leaves the other. */
struct release_mark {
    uint64_t pos, seq;
    uint32_t crc, pad;
};

struct head {
    struct identity identity;
    struct boot_mark boot;
    struct release_mark released[2];
};

uint8_t *inbox_file_place(const struct inbox_file *file, uint64_t pos)
{
    return file->map + HEAD_BYTES + pos % file->data_bytes;
}

size_t inbox_file_room(const struct inbox_file *file, uint64_t pos)
{
    return file->data_bytes - (size_t)(pos % file->data_bytes);
}

static uint32_t identity_crc(const struct identity *id)
{
    return checksum_crc32(0, id, offsetof(struct identity, crc));
}

static uint32_t boot_crc(const struct inbox_file *file, const struct boot_mark *b)
{
    return checksum_crc32(file->salt, b, offsetof(struct boot_mark, crc));
}

static uint32_t release_crc(const struct inbox_file *file, const struct release_mark *r)
{
    return checksum_crc32(file->salt, r, offsetof(struct release_mark, crc));
}

static bool write_at(struct inbox_file *file, size_t offset, const void *bytes, size_t n)
{
    if (file->sync == STORE_SYNC_WINDOW) {
        memcpy(file->map + offset, bytes, n);
        return true;
    }
    const uint8_t *from = bytes;
    while (n > 0) {
        ssize_t put = pwrite(file->fd, from, n, (off_t)offset);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return false;
        from += put;
        offset += (size_t)put;
        n -= (size_t)put;
    }
    return fdatasync(file->fd) == 0;
}

static bool mark_sound(const struct inbox_file *file, const struct release_mark *mark)
{
    return mark->crc == release_crc(file, mark) && mark->pos % INBOX_ALIGN == 0 && mark->pos < POSITION_MAX;
}

/* Index of the later sound mark, -1 when both are damaged. */
static int latest_mark(const struct inbox_file *file, struct release_mark marks[2])
{
    memcpy(marks, file->map + offsetof(struct head, released), 2 * sizeof marks[0]);
    bool first = mark_sound(file, &marks[0]), second = mark_sound(file, &marks[1]);
    if (first && second)
        return marks[0].pos > marks[1].pos || (marks[0].pos == marks[1].pos && marks[0].seq > marks[1].seq)
                   ? 0
                   : 1;
    return first ? 0 : second ? 1 : -1;
}

bool inbox_file_release(struct inbox_file *file, struct inbox_mark mark)
{
    struct release_mark marks[2], fresh = { .pos = mark.pos, .seq = mark.seq };
    fresh.crc = release_crc(file, &fresh);
    size_t other = latest_mark(file, marks) == 0 ? 1 : 0;
    return write_at(file, offsetof(struct head, released) + other * sizeof fresh, &fresh, sizeof fresh);
}

static void read_boot_id(char *id, size_t cap)
{
    memset(id, 0, cap);
    int fd = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return;
    ssize_t n = read(fd, id, cap - 1);
    close(fd);
    id[n > 0 ? strcspn(id, "\n") : 0] = '\0';
}

bool inbox_file_mark_boot(struct inbox_file *file, uint64_t last_seq, uint64_t *earlier_until)
{
    struct boot_mark old, mark = { .earlier_until = last_seq };
    memcpy(&old, file->map + offsetof(struct head, boot), sizeof old);
    read_boot_id(mark.id, sizeof mark.id);
    if (old.crc == boot_crc(file, &old) && memcmp(old.id, mark.id, sizeof mark.id) == 0) {
        *earlier_until = old.earlier_until;
        return true;
    }
    *earlier_until = last_seq;
    mark.crc = boot_crc(file, &mark);
    return write_at(file, offsetof(struct head, boot), &mark, sizeof mark);
}

static uint32_t record_crc(const struct inbox_file *file, const uint8_t *at, size_t len)
{
    struct inbox_record r;
    memcpy(&r, at, sizeof r);
    r.crc = 0;
    uint32_t crc = checksum_crc32(file->salt, &r, sizeof r);
    return checksum_crc32(crc, at + sizeof r, len - sizeof r);
}

static size_t record_bytes(const struct inbox_record *r)
{
    size_t n = sizeof *r + r->topic_len + (size_t)r->payload_len + r->reply_len + r->correlation_len;
    return (n + INBOX_ALIGN - 1) / INBOX_ALIGN * INBOX_ALIGN;
}

static bool lengths_allowed(const struct inbox_record *r)
{
    return r->topic_len <= MESSAGE_TOPIC_MAX && r->payload_len <= MESSAGE_PAYLOAD_MAX &&
           r->reply_len <= MESSAGE_REPLY_MAX && r->correlation_len <= INBOX_CORRELATION_MAX;
}

static bool record_sound(const struct inbox_file *file, uint64_t pos, size_t within, struct inbox_record *r)
{
    size_t room = inbox_file_room(file, pos);
    if (room > within)
        room = within;
    if (room < sizeof *r)
        return false;
    memcpy(r, inbox_file_place(file, pos), sizeof *r);
    return r->magic == RECORD_MAGIC && lengths_allowed(r) && r->len == record_bytes(r) && r->len <= room &&
           r->qos <= 2 && record_crc(file, inbox_file_place(file, pos), r->len) == r->crc;
}

bool inbox_file_measure(struct inbox_record *r)
{
    if (!lengths_allowed(r))
        return false;
    r->len = (uint32_t)record_bytes(r);
    return true;
}

bool inbox_file_write(struct inbox_file *file, uint64_t pos, struct inbox_record *r, uint8_t *bytes)
{
    r->magic = RECORD_MAGIC;
    memcpy(bytes, r, sizeof *r);
    r->crc = record_crc(file, bytes, r->len);
    memcpy(bytes, r, sizeof *r);
    return write_at(file, HEAD_BYTES + (size_t)(pos % file->data_bytes), bytes, r->len);
}

bool inbox_file_find(const struct inbox_file *file, uint64_t *pos, uint64_t end, uint64_t after,
                     struct inbox_record *r, bool *skipped)
{
    uint64_t begin = *pos;
    size_t rest = inbox_file_room(file, begin);
    for (uint64_t p = begin; p < end; p += INBOX_ALIGN) {
        if (!record_sound(file, p, (size_t)(end - p), r) || r->seq <= after)
            continue;
        *skipped = p != begin && !(p == begin + rest && r->seq == after + 1);
        *pos = p;
        return true;
    }
    return false;
}

/* Handing out again what was settled does no harm; leaving something out would. */
static struct inbox_mark before_oldest(const struct inbox_file *file)
{
    struct inbox_mark mark = { .pos = 0, .seq = 0 };
    struct inbox_record r;
    uint64_t lowest = UINT64_MAX;
    for (uint64_t p = 0; p < file->data_bytes; p += INBOX_ALIGN)
        if (record_sound(file, p, file->data_bytes, &r) && r.seq < lowest) {
            lowest = r.seq;
            mark = (struct inbox_mark){ .pos = p, .seq = r.seq - 1 };
        }
    return mark;
}

struct inbox_mark inbox_file_released(const struct inbox_file *file)
{
    struct release_mark marks[2];
    int latest = latest_mark(file, marks);
    return latest < 0 ? before_oldest(file) : (struct inbox_mark){ marks[latest].pos, marks[latest].seq };
}

static enum status say_io(struct why *why, const char *doing, const char *path, int e)
{
    if (e == ENOSPC || e == EDQUOT)
        return why_say(
            why, STATUS_IO,
            "%s: no room left there for the message ring: free some, or set a smaller store.inbox_kib", path);
    return why_say(why, STATUS_IO, "%s: cannot %s the message ring: %s", path, doing, strerror(e));
}

/* Made under another name and renamed when whole: a ring is never half made. */
enum status inbox_file_make(const char *path, size_t data_bytes, struct why *why)
{
    char fresh[4096];
    uint8_t head[HEAD_BYTES] = { 0 };
    struct identity id = { .magic = HEAD_MAGIC, .data_bytes = data_bytes };
    if (getrandom(&id.salt, sizeof id.salt, 0) != (ssize_t)sizeof id.salt)
        id.salt = (uint32_t)clock_now().utc.ms;
    id.crc = identity_crc(&id);
    memcpy(head, &id, sizeof id);
    int n = snprintf(fresh, sizeof fresh, "%s.new", path);
    if (n < 0 || (size_t)n >= sizeof fresh)
        return why_say(why, STATUS_INVALID, "%s: the path is too long", path);
    int fd = open(fresh, O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        return say_io(why, "make", fresh, errno);
    int e = posix_fallocate(fd, 0, (off_t)(HEAD_BYTES + data_bytes));
    if (e == 0 && (pwrite(fd, head, sizeof head, 0) != (ssize_t)sizeof head || fsync(fd) != 0))
        e = errno;
    if (e == 0 && rename(fresh, path) != 0)
        e = errno;
    close(fd);
    if (e == 0)
        return STATUS_OK;
    unlink(fresh);
    return say_io(why, "make", fresh, e);
}

/* STATUS_NONE: no file. STATUS_INVALID: its head cannot be read as one of ours. */
static enum status open_existing(const char *path, struct inbox_file *file, struct why *why)
{
    struct identity id;
    struct stat st;
    int fd = open(path, O_RDWR | O_CLOEXEC | O_NOFOLLOW);
    if (fd < 0)
        return errno == ENOENT ? STATUS_NONE : say_io(why, "open", path, errno);
    if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
        close(fd);
        return why_say(why, STATUS_REFUSED, "%s: another process has this message ring open", path);
    }
    bool sound = fstat(fd, &st) == 0 && S_ISREG(st.st_mode) &&
                 pread(fd, &id, sizeof id, 0) == (ssize_t)sizeof id && id.magic == HEAD_MAGIC &&
                 id.crc == identity_crc(&id) && id.data_bytes % INBOX_ALIGN == 0 &&
                 id.data_bytes >= INBOX_RECORD_MAX && (uint64_t)st.st_size == id.data_bytes + HEAD_BYTES;
    if (!sound) {
        close(fd);
        return STATUS_INVALID;
    }
    file->fd = fd;
    file->data_bytes = (size_t)id.data_bytes;
    file->salt = id.salt;
    return STATUS_OK;
}

static enum status set_aside(const char *path, struct why *why)
{
    char aside[4096];
    long long epoch = (long long)(clock_now().utc.ms / MS_PER_S);
    int n = snprintf(aside, sizeof aside, "%s.damaged-%lld", path, epoch);
    if (n < 0 || (size_t)n >= sizeof aside || rename(path, aside) != 0)
        return why_say(why, STATUS_IO, "%s: the message ring is damaged and cannot be set aside: %s", path,
                       strerror(errno));
    return why_say(why, STATUS_OK, "the message ring was damaged: set aside as %s, a new one made", aside);
}

/* Room is asked for again: a file that was copied or punched has holes, and writing to a hole on a full tmpfs
 * would kill the process. */
static enum status map_file(struct inbox_file *file, const char *path, struct why *why)
{
    size_t bytes = HEAD_BYTES + file->data_bytes;
    int e = posix_fallocate(file->fd, 0, (off_t)bytes);
    if (e != 0)
        return say_io(why, "keep room for", path, e);
    int access = file->sync == STORE_SYNC_WINDOW ? PROT_READ | PROT_WRITE : PROT_READ;
    void *map = mmap(NULL, bytes, access, MAP_SHARED, file->fd, 0);
    if (map == MAP_FAILED)
        return say_io(why, "map", path, errno);
    file->map = map;
    return STATUS_OK;
}

enum status inbox_file_open(const char *path, size_t data_bytes, enum store_sync sync,
                            struct inbox_file *file, struct why *why)
{
    *file = (struct inbox_file){ .fd = -1, .sync = sync };
    enum status status = open_existing(path, file, why);
    if (status == STATUS_INVALID)
        status = set_aside(path, why) == STATUS_OK ? STATUS_NONE : STATUS_IO;
    if (status == STATUS_NONE) {
        status = inbox_file_make(path, data_bytes, why);
        if (status == STATUS_OK)
            status = open_existing(path, file, why);
    }
    if (status == STATUS_OK)
        status = map_file(file, path, why);
    if (status != STATUS_OK)
        inbox_file_close(file);
    return status;
}

void inbox_file_close(struct inbox_file *file)
{
    if (file->map != NULL)
        munmap(file->map, HEAD_BYTES + file->data_bytes);
    if (file->fd >= 0)
        close(file->fd);
    file->map = NULL;
    file->fd = -1;
}
