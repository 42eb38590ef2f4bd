/* Two kinds of time that never mix by accident.
 *
 * utc_t   when something was measured or happened: milliseconds since 1970-01-01T00:00:00Z, no leap seconds.
 * mono_t  elapsed time that no clock step touches: milliseconds on the boot clock (in a replay: the capture's
 *         own clock). Durations, delays and staleness run on this one.
 * Each wake-up reads both once (adapters/clock) and hands them down as one struct now. */
#ifndef LENTIC_BASE_TIMES_H
#define LENTIC_BASE_TIMES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "base/status.h"

typedef struct utc {
    int64_t ms;
} utc_t;

typedef struct mono {
    int64_t ms;
} mono_t;

struct now {
    utc_t utc;
    mono_t mono;
    bool trusted; /* the wall clock is known to be right (synchronised, or past the newest stored time) */
};

#define MS_PER_S    INT64_C(1000)
#define MS_PER_MIN  (60 * MS_PER_S)
#define MS_PER_HOUR (60 * MS_PER_MIN)
#define MS_PER_DAY  (24 * MS_PER_HOUR)

#define UTC_NONE   ((utc_t){ INT64_MIN })
#define MONO_NONE  ((mono_t){ INT64_MIN })
#define MONO_NEVER ((mono_t){ INT64_MAX }) /* a deadline that does not come */

/* Times outside 2000-01-01 .. 2200-01-01 are not believed from outside. */
#define UTC_FLOOR ((utc_t){ INT64_C(946684800000) })
#define UTC_CEIL  ((utc_t){ INT64_C(7258118400000) })

static inline bool utc_is_set(utc_t t)
{
    return t.ms != INT64_MIN;
}

/* Lies in the last span_ms before now. What lies ahead does not: the clock was set back since. */
static inline bool utc_within(utc_t t, utc_t now, int64_t span_ms)
{
    return utc_is_set(t) && utc_is_set(now) && t.ms <= now.ms && now.ms - t.ms <= span_ms;
}

static inline bool mono_is_set(mono_t t)
{
    return t.ms != INT64_MIN;
}

static inline mono_t mono_add(mono_t t, int64_t ms)
{
    return (mono_t){ t.ms + ms };
}

static inline mono_t mono_min(mono_t a, mono_t b)
{
    return a.ms < b.ms ? a : b;
}

static inline mono_t mono_max(mono_t a, mono_t b)
{
    return a.ms > b.ms ? a : b;
}

/* The wall time at which the boot clock shows m, by the relation of the two clocks in now; and the reverse.
 */
static inline utc_t utc_of_mono(mono_t m, struct now now)
{
    return (utc_t){ now.utc.ms + (m.ms - now.mono.ms) };
}

static inline mono_t mono_of_utc(utc_t t, struct now now)
{
    return (mono_t){ now.mono.ms + (t.ms - now.utc.ms) };
}

#define UTC_TEXT_MAX 32

/* Writes 2026-03-01T12:00:00.123Z into buf (UTC_TEXT_MAX bytes suffice); the empty string for UTC_NONE and
 * whatever four digits of a year cannot write. Returns buf. */
const char *utc_format(utc_t t, char *buf, size_t cap);

/* Parses RFC 3339 (T or blank between date and time, any fraction, cut to milliseconds) and the form that
 * mosquitto_sub writes (2026-03-01T12:00:00.123456Z+0000, or with +0000 and no Z). All n bytes must be used.
 * *zoned tells whether the text named its offset; without one the time is read as UTC and *zoned is false.
 * STATUS_INVALID for anything else, including impossible dates. Leap second :60 reads as :59.999. */
enum status utc_parse(const char *s, size_t n, utc_t *out, bool *zoned) LENTIC_CHECKED;

/* Writes a span for people: "45 s", "12 min", "2 h 40 min", "3 d 4 h". Returns buf. */
const char *span_format(int64_t ms, char *buf, size_t cap);

#endif
