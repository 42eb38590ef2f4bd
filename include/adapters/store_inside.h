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
    STATEMENT_COUNT
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
    size_t *newest_slot; /* by stream: where its newest reading was put; checked before it is believed */
    struct note *notes;
    size_t note_count;

    uint64_t seq_put, seq_written, seq_safe;
    uint64_t ticket, ticket_seq; /* seq_safe may be that when the disk has it; ticket 0: nothing is awaited */
    struct now seen;             /* the last "now" we were told */
    mono_t due_at, retry_at;
    int64_t backoff_ms;
    struct store_counts counts;

    int64_t settled_to;      /* everything before it is settled; 0: not yet looked up */
    int64_t wall_minus_mono; /* relation of the two clocks that the purge trusts */
    mono_t steady_since;
};

/* Of store_query.c and the other files that only read. */
struct store_reader {
    struct sqlite3 *db;
    char path[512];
};

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
bool store_write_note(struct store *store, const struct note *note);
bool store_write_position(struct store *store, uint64_t seq);
bool store_put_meta(struct store *store, const char *name, int64_t value);
bool store_step(struct sqlite3_stmt *stmt);                          /* runs it to its end and resets it */
struct reading store_read_row(struct sqlite3_stmt *stmt, int first); /* t_ms raw value flag tests marks */

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

#endif
