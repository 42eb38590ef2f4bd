/* The log: one line a message to standard error, with the service manager's priority prefix when standard
 * error is the journal, plain otherwise. Printable text only, cut at LOG_LINE_MAX. Any thread. */
#ifndef LENTIC_ADAPTERS_LOG_H
#define LENTIC_ADAPTERS_LOG_H

#include <stdbool.h>
#include "base/times.h"

/* Numbers of syslog. */
enum log_level { LOG_AT_ERROR = 3, LOG_AT_WARNING = 4, LOG_AT_NOTICE = 5, LOG_AT_INFO = 6, LOG_AT_DEBUG = 7 };

#define LOG_LINE_MAX 640

/* Finds out where standard error goes; lines less urgent than `least` are dropped. Without it: plain,
 * LOG_AT_INFO. */
void log_open(enum log_level least);

void log_say(enum log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* For what may repeat: key names the condition ("mqtt.link"). A line is written when the text differs from
 * the key's last one; the same text again is counted and told once an hour with the count. A key whose text
 * keeps changing is held to one line in LOG_CHANGE_MS, the rest counted. */
#define LOG_CHANGE_MS INT64_C(5000)
#define LOG_REPEAT_MS MS_PER_HOUR
void log_change(enum log_level level, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The condition is over: written only when the key is known, which is then forgotten. */
void log_over(enum log_level level, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* What log_change remembers: a bounded table, the least recently used key gives way. */
#define LOG_KEYS 64
struct log_memory {
    struct log_entry {
        uint64_t key, text; /* hashes; key 0: empty */
        uint32_t withheld;  /* since the last line */
        mono_t told, used;
    } entries[LOG_KEYS];
};

/* Whether the line is to be written at that time; *withheld: how many were not since the key's last line. */
bool log_memory_admit(struct log_memory *memory, const char *key, const char *text, mono_t now,
                      uint32_t *withheld);
/* Forgets the key; false when it was not known. */
bool log_memory_forget(struct log_memory *memory, const char *key, uint32_t *withheld);

/* Makes text printable in place: control characters and broken UTF-8 become '?'. */
void log_clean(char *text);

#endif
