#include "adapters/log.h"

#include <inttypes.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "base/checksum.h"
#include "base/utf8.h"

static _Atomic int least_urgent = LOG_AT_INFO;
static _Atomic bool with_priority;
static pthread_mutex_t memory_lock = PTHREAD_MUTEX_INITIALIZER;
static struct log_memory memory_of_keys;

/* JOURNAL_STREAM is inherited by everything a service starts: only when it names our own standard error does
 * the journal read what we write. */
static bool stderr_is_journal(void)
{
    const char *stream = getenv("JOURNAL_STREAM");
    uintmax_t device, inode;
    struct stat st;
    if (stream == NULL || sscanf(stream, "%" SCNuMAX ":%" SCNuMAX, &device, &inode) != 2)
        return false;
    return fstat(STDERR_FILENO, &st) == 0 && st.st_dev == device && st.st_ino == inode;
}

void log_open(enum log_level least)
{
    atomic_store(&least_urgent, least);
    atomic_store(&with_priority, stderr_is_journal());
}

void log_clean(char *text)
{
    size_t left = strlen(text), n;
    for (char *s = text; left > 0; s += n, left -= n) {
        n = utf8_bytes(s, left);
        bool control = (unsigned char)*s < 0x20 || *s == 0x7F ||
                       (n == 2 && (unsigned char)s[0] == 0xC2 && (unsigned char)s[1] < 0xA0);
        if (n == 0 || control) {
            n = n == 2 && control ? 2 : 1;
            memset(s, '?', n);
        }
    }
}

static void format_line(char *line, size_t cap, const char *format, va_list args)
{
    int n = vsnprintf(line, cap, format, args);
    if (n < 0)
        line[0] = '\0';
    else if ((size_t)n >= cap)
        memcpy(line + cap - 4, "...", 4);
    log_clean(line);
}

/* One write a line: lines of several threads do not mix. */
static void write_line(enum log_level level, const char *line, uint32_t withheld)
{
    char out[LOG_LINE_MAX + 80];
    char prefix[8] = "", count[56] = "";
    if (atomic_load(&with_priority))
        snprintf(prefix, sizeof prefix, "<%d>", (int)level);
    if (withheld > 0)
        snprintf(count, sizeof count, " (%" PRIu32 " more like it not logged)", withheld);
    int n = snprintf(out, sizeof out, "%s%s%s\n", prefix, line, count);
    if (n > 0 && write(STDERR_FILENO, out, (size_t)n) < 0)
        return;
}

void log_say(enum log_level level, const char *format, ...)
{
    if ((int)level > atomic_load(&least_urgent))
        return;
    char line[LOG_LINE_MAX];
    va_list args;
    va_start(args, format);
    format_line(line, sizeof line, format, args);
    va_end(args);
    write_line(level, line, 0);
}

static struct log_entry *find_key(struct log_memory *memory, uint64_t key)
{
    for (int i = 0; i < LOG_KEYS; i++)
        if (memory->entries[i].key == key)
            return &memory->entries[i];
    return NULL;
}

static uint64_t hash_of(const char *s)
{
    uint64_t h = checksum_fnv(s, strlen(s));
    return h == 0 ? 1 : h;
}

static struct log_entry *take_place(struct log_memory *memory, uint64_t key)
{
    struct log_entry *place = &memory->entries[0];
    for (int i = 0; i < LOG_KEYS && place->key != 0; i++)
        if (memory->entries[i].key == 0 || memory->entries[i].used.ms < place->used.ms)
            place = &memory->entries[i];
    *place = (struct log_entry){ .key = key, .told = MONO_NONE };
    return place;
}

bool log_memory_admit(struct log_memory *memory, const char *key, const char *text, mono_t now,
                      uint32_t *withheld)
{
    uint64_t key_hash = hash_of(key), text_hash = hash_of(text);
    struct log_entry *entry = find_key(memory, key_hash);
    if (entry == NULL)
        entry = take_place(memory, key_hash);
    entry->used = now;
    int64_t pause = entry->text == text_hash ? LOG_REPEAT_MS : LOG_CHANGE_MS;
    if (mono_is_set(entry->told) && now.ms - entry->told.ms < pause) {
        entry->withheld++;
        return false;
    }
    *withheld = entry->withheld;
    entry->withheld = 0;
    entry->told = now;
    entry->text = text_hash;
    return true;
}

bool log_memory_forget(struct log_memory *memory, const char *key, uint32_t *withheld)
{
    struct log_entry *entry = find_key(memory, hash_of(key));
    if (entry == NULL)
        return false;
    *withheld = entry->withheld;
    *entry = (struct log_entry){ 0 };
    return true;
}

void log_change(enum log_level level, const char *key, const char *format, ...)
{
    if ((int)level > atomic_load(&least_urgent))
        return;
    char line[LOG_LINE_MAX];
    uint32_t withheld = 0;
    va_list args;
    va_start(args, format);
    format_line(line, sizeof line, format, args);
    va_end(args);
    pthread_mutex_lock(&memory_lock);
    bool admitted = log_memory_admit(&memory_of_keys, key, line, clock_now().mono, &withheld);
    pthread_mutex_unlock(&memory_lock);
    if (admitted)
        write_line(level, line, withheld);
}

void log_over(enum log_level level, const char *key, const char *format, ...)
{
    uint32_t withheld = 0;
    pthread_mutex_lock(&memory_lock);
    bool known = log_memory_forget(&memory_of_keys, key, &withheld);
    pthread_mutex_unlock(&memory_lock);
    if (!known || (int)level > atomic_load(&least_urgent))
        return;
    char line[LOG_LINE_MAX];
    va_list args;
    va_start(args, format);
    format_line(line, sizeof line, format, args);
    va_end(args);
    write_line(level, line, withheld);
}
