/* What the files of the store share; nobody else includes this. */
#ifndef LENTIC_ADAPTERS_STORE_INSIDE_H
#define LENTIC_ADAPTERS_STORE_INSIDE_H

#include "adapters/store.h"
#include "adapters/store_log.h"

struct sqlite3;
struct sqlite3_stmt;

enum note_kind { NOTE_ALERT, NOTE_EVENT, NOTE_JOURNAL };

/* What is written one by one: kept until committed. */
struct note {
    enum note_kind kind;
    utc_t t;
    enum alert_change change;
    bool announce;
    union {
        struct alert alert;
        struct event event;
        struct journal_entry journal;
    } u;
};

#define NOTES_MAX 256

enum statement {
    PUT_RECENT,
    PUT_READING,
    REVISE_RECENT,
    REVISE_READING,
    PUT_TOUCHED,
    PUT_ALERT,
    PUT_ALERT_CHANGE,
    PUT_EVENT,
    PUT_JOURNAL,
    PUT_JOURNAL_ITEM,
    SUPERSEDE_JOURNAL,
    WITHDRAW_JOURNAL,
    PUT_META,
    PUT_ROLLUP,
    PUT_DAY,
    READ_SPAN,
    READ_GROUP,
    DROP_READING,
    STATEMENT_COUNT
};

/* A probe's newest reading. Its spike verdict comes with the next reading only, often after it was committed;
 * written as its forerunner turned out, most rows need not be written again. */
struct newest {
    size_t slot;  /* where it was put; checked before it is believed */
    bool passes;  /* the forerunner's spike verdict was good */
    bool written; /* a row stands as follows, but for what is revised */
    utc_t t;
    verdict_t tests;
    double value;
};

struct store {
    const struct site *site;
    char path[512];
    struct sqlite3 *db;     /* NULL: not open, tried again at retry_at */
    bool damaged;           /* found while running: the next opening reads the whole file */
    struct store_log *sync; /* lives while db does */
    int readers;            /* as store_readers.h has it, while db is open; else -1 */
    bool entered;           /* a transaction of ours holds the log */
    bool safe_wanted;       /* and shall reach the disk at once */
    enum store_syncing {
        SYNCING_UNKNOWN,
        SYNCING_NORMAL,
        SYNCING_OFF
    } syncing; /* as the connection stands */
    struct sqlite3_stmt *statements[STATEMENT_COUNT];
    int64_t *probe_id;   /* by stream; 0: not yet known */
    int64_t *settled_ms; /* by stream: readings before it stand in the settled table */

    struct reading *readings; /* ring */
    size_t reading_cap, reading_first, reading_count;
    struct newest *newest; /* by stream */
    struct note *notes;
    size_t note_count;

    uint64_t seq_put, seq_written, seq_safe;
    uint64_t ticket, ticket_seq; /* seq_safe may be that when the disk has it; ticket 0: nothing is awaited */
    struct now seen;             /* the last "now" we were told */
    mono_t due_at, retry_at;
    int64_t backoff_ms;
    struct store_counts counts;

    int64_t settled_to;      /* everything before it is settled; 0: not yet looked up */
    int64_t rolled_to;       /* and rolled up; 0: the same */
    int64_t wall_minus_mono; /* relation of the two clocks that the purge trusts */
    mono_t steady_since;
};

/* Of store_query.c and the other files that only read. */
struct store_reader {
    struct sqlite3 *db;
    char path[512];
};

/* Readings lie in two tables of the same columns (store_tables.c). In recent, as they come, by time and
 * probe: appended, so that a commit writes few pages. In reading, for good, by stretch of time, probe and
 * time: what moves there stands behind all that was there before, in pages that are filled and never written
 * again, and a probe's readings of a stretch lie together. Times count from an origin (2020-01-01); a stretch
 * is 2^20 ms, 17.5 minutes. Verdict is flag, tests and marks in one number, 0 or 1 for nearly all. */
#define STORE_PROBE_BITS   17
#define STORE_STRETCH_BITS 20
#define STORE_STRETCH_MS   (INT64_C(1) << STORE_STRETCH_BITS)
#define STORE_STRETCH_KEYS (INT64_C(1) << (STORE_STRETCH_BITS + STORE_PROBE_BITS)) /* of reading, in one */
#define STORE_ORIGIN_MS    INT64_C(1577836800000)
#define STORE_REACH_MS     (INT64_C(1) << 46) /* from the origin, either way; beyond it no key is */

/* In SQL: the time from the origin, its stretch, the least key of recent at it. */
#define STORE_SINCE(t_ms)      "max(-70368744177664, min(70368744177663, " t_ms " - 1577836800000))"
#define STORE_STRETCH(t_ms)    "(" STORE_SINCE(t_ms) " >> 20)"
#define STORE_RECENT_KEY(t_ms) "(" STORE_SINCE(t_ms) " << 17)"

/* In SQL: the stretches of a span that hold settled readings, as the table stretch(n), in order of time. */
#define STORE_STRETCHES(from, to)                                                                            \
    "WITH RECURSIVE stretch(n) AS (SELECT (SELECT key >> 37 FROM reading WHERE key >= " STORE_STRETCH(       \
        from) " << 37 ORDER BY key LIMIT 1) UNION ALL SELECT (SELECT key >> 37 FROM reading WHERE key"       \
              " >= (n + 1) << 37 ORDER BY key LIMIT 1) FROM stretch WHERE n < " STORE_STRETCH(to) ") "

/* In SQL: the rows of a probe and a span in one of them. */
#define STORE_IN_STRETCH(of, from, to)                                                                       \
    "key >= (((n << 17) | " of                                                                               \
    ") << 20) + max(0, " STORE_SINCE(from) " - (n << 20))"                                                   \
                                           " AND key < (((n << 17) | " of                                    \
                                           ") << 20) + min(1048576, " STORE_SINCE(to) " - (n << 20))"

/* In SQL, as a table: a probe's readings of a span, settled and recent, as the view "stored" has them, which
 * knows no range of keys. They come in order of time, for settled ones come first and stretches in order. */
#define STORE_COLUMNS "probe, t_ms, raw, value, flag, tests, marks"
#define STORE_SPAN(of, from, to)                                                                             \
    "(SELECT probe, t_ms, CASE WHEN marks & 32 THEN raw / 10000.0 ELSE raw END AS raw,"                      \
    " CASE WHEN marks & 16 THEN NULL WHEN value IS NOT NULL THEN value"                                      \
    " WHEN marks & 32 THEN raw / 10000.0 ELSE raw END AS value, flag, tests, marks & ~32 AS marks"           \
    " FROM (" STORE_STRETCHES(                                                                               \
        from,                                                                                                \
        to) "SELECT " STORE_COLUMNS                                                                          \
            " FROM stretch CROSS JOIN reading ON " STORE_IN_STRETCH(                                         \
                of, from,                                                                                    \
                to) " UNION ALL SELECT " STORE_COLUMNS                                                       \
                    " FROM recent WHERE key >= " STORE_RECENT_KEY(from) " AND key < " STORE_RECENT_KEY(      \
                        to) " AND probe = " of " AND t_ms >= (SELECT settled_ms FROM probe WHERE id = " of   \
                            ")))"

#define READING_MARK_LATE    8
#define READING_MARK_UNKNOWN 16
#define READING_MARK_SHORT   32 /* raw is so many times itself */
#define READING_SHORT_SCALE  10000

/* store.c */
struct sqlite3_stmt *store_statement(struct store *store, enum statement which);
bool store_begin(struct store *store, bool full_sync);
bool store_end(struct store *store, bool ok); /* commits, or rolls back and notes the failure */
int64_t store_probe(const struct store *store, int stream);

/* store_open.c */
enum status store_attach(struct store *store, struct why *why) LENTIC_CHECKED;
enum status store_probes_bind(struct store *store);
void store_detach(struct store *store);

/* store_rows.c: each returns false when SQLite failed. */
bool store_write_reading(struct store *store, const struct reading *r);
bool store_was_foretold(const struct store *store,
                        const struct reading *r); /* a revision that changes no row */
bool store_write_note(struct store *store, const struct note *note);
bool store_write_position(struct store *store, uint64_t seq);
bool store_put_meta(struct store *store, const char *name, int64_t value);
int64_t store_meta(struct store *store, const char *name, int64_t otherwise);
bool store_step(struct sqlite3_stmt *stmt);                            /* runs it to its end and resets it */
struct reading store_read_row(struct sqlite3_stmt *stmt, int first);   /* t_ms raw value flag tests marks */
struct reading store_read_coded(struct sqlite3_stmt *stmt, int first); /* raw value verdict; without time */

/* store_columns.c: empty, UTC_NONE and NAN are NULL in a row. What is bound must outlive the step. */
void store_bind_text(struct sqlite3_stmt *stmt, int i, const char *s);
void store_bind_utc(struct sqlite3_stmt *stmt, int i, utc_t t);
void store_take_text(struct sqlite3_stmt *stmt, int i, char *buf, size_t cap); /* cut to cap */
utc_t store_take_utc(struct sqlite3_stmt *stmt, int i);
double store_take_number(struct sqlite3_stmt *stmt, int i);

/* store_thin.c: one bounded piece; false when nothing before the horizon (ms) is left to thin. */
bool store_thin(struct store *store, int64_t horizon);
int64_t store_thinned_to(struct store *store); /* raw readings before it may have gone */

/* Raw readings this close to a change of an alert at their place stay. */
#define STORE_ALERT_KEEP_MS (6 * MS_PER_HOUR)

/* store_journal.c */
bool store_write_journal(struct store *store, const struct journal_entry *e);

/* store_query.c */
struct store_reader;
struct sqlite3 *store_reader_db(struct store_reader *reader);

/* store_rollup.c */
bool store_roll_span(struct store *store, int64_t probe, int64_t from_ms,
                     int64_t to_ms); /* whole 15 min bins */
bool store_roll_day(struct store *store, int64_t probe, int64_t day_ms);

#define ROLLUP_MS (15 * MS_PER_MIN)

static inline int64_t floor_to(int64_t ms, int64_t step)
{
    int64_t rest = ms % step;
    return ms - (rest < 0 ? rest + step : rest);
}

/* The begin of the stretch that a time falls into. */
static inline int64_t store_stretch_of(int64_t t_ms)
{
    return floor_to(t_ms - STORE_ORIGIN_MS, STORE_STRETCH_MS) + STORE_ORIGIN_MS;
}

/* Both want a time within STORE_REACH_MS and a probe that fits. */
static inline int64_t store_recent_key(int64_t t_ms, int64_t probe)
{
    return (t_ms - STORE_ORIGIN_MS) * (1 << STORE_PROBE_BITS) + probe;
}

static inline int64_t store_reading_key(int64_t t_ms, int64_t probe)
{
    int64_t since = t_ms - STORE_ORIGIN_MS, rest = since & (STORE_STRETCH_MS - 1);
    return ((since - rest) * (1 << STORE_PROBE_BITS)) + probe * STORE_STRETCH_MS + rest;
}

static inline int64_t store_reading_probe(int64_t key)
{
    return (key >> STORE_STRETCH_BITS) & ((1 << STORE_PROBE_BITS) - 1);
}

static inline int64_t store_reading_t_ms(int64_t key)
{
    return (key >> (STORE_STRETCH_BITS + STORE_PROBE_BITS)) * STORE_STRETCH_MS +
           (key & (STORE_STRETCH_MS - 1)) + STORE_ORIGIN_MS;
}

static inline int64_t store_recent_probe(int64_t key)
{
    return key & ((1 << STORE_PROBE_BITS) - 1);
}

static inline int64_t store_recent_t_ms(int64_t key)
{
    return (key >> STORE_PROBE_BITS) + STORE_ORIGIN_MS;
}

#endif
