/* Structs to rows and back. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

bool store_step(struct sqlite3_stmt *stmt)
{
    if (stmt == NULL)
        return false;
    int code = sqlite3_step(stmt);
    sqlite3_reset(stmt);
    return code == SQLITE_DONE;
}

/* What nearly every reading has: all passed, no twin, attenuation not asked for. */
#define TESTS_USUAL ((verdict_t)0x22111111)

/* Stored as the difference from the usual, negated: 0 takes no byte, a verdict as it is takes four. Verdicts
 * stored as they are, as earlier, are above 0. */
static int64_t tests_code(verdict_t tests)
{
    return -(int64_t)(tests ^ TESTS_USUAL);
}

static verdict_t tests_of_code(int64_t code)
{
    return code > 0 ? (verdict_t)code : TESTS_USUAL ^ (verdict_t)-code;
}

/* What probes send has few decimals: a whole number then, in three bytes instead of eight. Whole already, it
 * is short as it is. Only where it comes back to the bit. */
static bool raw_is_short(double sent)
{
    double scaled = round(sent * READING_SHORT_SCALE);
    return fabs(scaled) < 2147483648.0 && sent != round(sent) && scaled / READING_SHORT_SCALE == sent;
}

/* NaN becomes NULL in SQLite; equal to what was sent is NULL as well, to save its eight bytes. */
static int bind_value(struct sqlite3_stmt *stmt, int at, const struct reading *r)
{
    int marks = (int)r->basis | (r->late ? READING_MARK_LATE : 0);
    if (isnan(r->value) && !isnan(r->sent))
        marks |= READING_MARK_UNKNOWN;
    bool is_short = raw_is_short(r->sent);
    marks |= is_short ? READING_MARK_SHORT : 0;
    sqlite3_bind_double(stmt, at, is_short ? round(r->sent * READING_SHORT_SCALE) : r->sent);
    sqlite3_bind_double(stmt, at + 1, r->value == r->sent ? (double)NAN : r->value);
    return marks;
}

/* By one number; the columns of the same names take it apart again. */
static void bind_row(sqlite3_stmt *stmt, int64_t key, const struct reading *r)
{
    sqlite3_bind_int64(stmt, 1, key);
    int marks = bind_value(stmt, 2, r) ^ READING_MARK_SHORT, flag = ((int)r->flag - FLAG_GOOD) & 15;
    sqlite3_bind_int64(stmt, 4, (-tests_code(r->tests) << 10) | (flag << 6) | marks);
}

/* False: a time millennia off, or more probes than a key has room for. */
static bool has_key(const struct store *store, const struct reading *r)
{
    return llabs(r->t.ms - STORE_ORIGIN_MS) < STORE_REACH_MS &&
           store_probe(store, r->stream) < (1 << STORE_PROBE_BITS);
}

static bool put_reading(struct store *store, bool settled, bool revise, const struct reading *r,
                        bool *changed)
{
    enum statement which =
        settled ? (revise ? REVISE_READING : PUT_READING) : (revise ? REVISE_RECENT : PUT_RECENT);
    sqlite3_stmt *stmt = store_statement(store, which);
    if (stmt == NULL)
        return false;
    int64_t probe = store_probe(store, r->stream);
    bind_row(stmt, settled ? store_reading_key(r->t.ms, probe) : store_recent_key(r->t.ms, probe), r);
    bool ok = store_step(stmt);
    *changed = ok && sqlite3_changes(store->db) > 0;
    return ok;
}

/* The quarter hour of a settled reading is rolled up again. */
static bool touch(struct store *store, const struct reading *r)
{
    sqlite3_stmt *stmt = store_statement(store, PUT_TOUCHED);
    if (stmt == NULL)
        return false;
    sqlite3_bind_int64(stmt, 1, store_probe(store, r->stream));
    sqlite3_bind_int64(stmt, 2, floor_to(r->t.ms, ROLLUP_MS));
    return store_step(stmt);
}

/* Only where a spike is the one thing not yet known, and would take nothing from the reading's flag. */
static verdict_t tests_foretold(const struct store *store, const struct reading *r)
{
    bool waits = !r->revised && !r->late && r->flag == FLAG_GOOD &&
                 verdict_get(r->tests, TEST_SPIKE) == FLAG_NOT_EVALUATED;
    return waits && store->newest[r->stream].passes ? verdict_set(r->tests, TEST_SPIKE, FLAG_GOOD) : r->tests;
}

static void remember_written(struct store *store, const struct reading *r)
{
    struct newest *newest = &store->newest[r->stream];
    if (r->late || r->flag != FLAG_GOOD)
        return;
    newest->written = true;
    newest->t = r->t;
    newest->tests = r->tests;
    newest->value = r->value;
}

bool store_was_foretold(const struct store *store, const struct reading *r)
{
    const struct newest *newest = &store->newest[r->stream];
    return newest->written && newest->t.ms == r->t.ms && newest->tests == r->tests &&
           newest->value == r->value && r->flag == FLAG_GOOD;
}

bool store_write_reading(struct store *store, const struct reading *r)
{
    bool settled = r->t.ms < store->settled_ms[r->stream], changed;
    struct reading row = *r;
    if (!has_key(store, r)) {
        store->counts.given_way++;
        return true;
    }
    row.tests = tests_foretold(store, r);
    if (!put_reading(store, settled, false, &row, &changed))
        return false;
    store->counts.stored += changed;
    if (changed)
        remember_written(store, &row);
    if (!changed && r->revised && !put_reading(store, settled, true, r, &changed))
        return false;
    return !changed || !settled || touch(store, r);
}

/* raw and value from column `first` on. */
static struct reading read_values(struct sqlite3_stmt *stmt, int first, int flag, int64_t tests, int marks)
{
    struct reading r = { .stream = -1, .t = UTC_NONE, .sent = NAN, .value = NAN, .flag = (enum flag)flag };
    if (sqlite3_column_type(stmt, first) != SQLITE_NULL)
        r.sent = sqlite3_column_double(stmt, first);
    if (marks & READING_MARK_SHORT)
        r.sent /= READING_SHORT_SCALE;
    if (sqlite3_column_type(stmt, first + 1) != SQLITE_NULL)
        r.value = sqlite3_column_double(stmt, first + 1);
    else if (!(marks & READING_MARK_UNKNOWN))
        r.value = r.sent;
    r.tests = tests_of_code(tests);
    int basis = marks & 7;
    r.basis = basis < TIME_BASIS_COUNT ? (enum time_basis)basis : TIME_RECEIVED;
    r.late = (marks & READING_MARK_LATE) != 0;
    return r;
}

struct reading store_read_row(struct sqlite3_stmt *stmt, int first)
{
    struct reading r =
        read_values(stmt, first + 1, sqlite3_column_int(stmt, first + 3),
                    sqlite3_column_int64(stmt, first + 4), sqlite3_column_int(stmt, first + 5));
    r.t.ms = sqlite3_column_int64(stmt, first);
    return r;
}

/* As the columns of the tables take a verdict apart. */
struct reading store_read_coded(struct sqlite3_stmt *stmt, int first)
{
    int64_t verdict = sqlite3_column_int64(stmt, first + 2);
    return read_values(stmt, first, (int)((verdict >> 6) + 1) & 15, -(verdict >> 10),
                       ((int)(verdict & 63) + 32) & 63);
}

static const char *alert_unit(const struct alert_slot *slot)
{
    return slot->quantity == Q_COUNT ? "" : quantity_info(slot->quantity)->unit;
}

static bool write_alert(struct store *store, const struct note *note)
{
    const struct alert *a = &note->u.alert;
    const struct alert_slot *slot = &store->site->alerts[a->index];
    sqlite3_stmt *s = store_statement(store, PUT_ALERT);
    if (s == NULL)
        return false;
    int i = 0;
    sqlite3_bind_text(s, ++i, slot->ref, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, store->site->places[slot->place].text, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, slot->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, priority_name(slot->settings.priority), -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, alert_state_name(a->base, a->marks), -1, SQLITE_STATIC);
    sqlite3_bind_int(s, ++i, (int)a->base);
    sqlite3_bind_int64(s, ++i, a->marks);
    sqlite3_bind_int(s, ++i, a->active);
    sqlite3_bind_int(s, ++i, a->unknown);
    store_bind_utc(s, ++i, a->since);
    store_bind_utc(s, ++i, a->raised_at);
    sqlite3_bind_double(s, ++i, a->value);
    sqlite3_bind_double(s, ++i, a->limit);
    sqlite3_bind_text(s, ++i, alert_unit(slot), -1, SQLITE_STATIC);
    store_bind_text(s, ++i, a->cause);
    store_bind_text(s, ++i, a->evidence);
    store_bind_text(s, ++i, a->action);
    store_bind_utc(s, ++i, a->due);
    store_bind_utc(s, ++i, a->shelved_until);
    store_bind_utc(s, ++i, a->out_until);
    store_bind_text(s, ++i, a->who);
    store_bind_text(s, ++i, a->why);
    sqlite3_bind_int64(s, ++i, a->raises);
    sqlite3_bind_int64(s, ++i, a->reminders);
    store_bind_text(s, ++i, a->leader >= 0 ? store->site->alerts[a->leader].ref : NULL);
    store_bind_utc(s, ++i, note->t);
    return store_step(s);
}

static bool write_change(struct store *store, const struct note *note)
{
    const struct alert *a = &note->u.alert;
    const struct alert_slot *slot = &store->site->alerts[a->index];
    sqlite3_stmt *s = store_statement(store, PUT_ALERT_CHANGE);
    if (s == NULL)
        return false;
    int i = 0;
    sqlite3_bind_int64(s, ++i, note->t.ms);
    sqlite3_bind_text(s, ++i, slot->ref, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, store->site->places[slot->place].text, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, slot->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, alert_change_name(note->change), -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, alert_state_name(a->base, a->marks), -1, SQLITE_STATIC);
    sqlite3_bind_text(s, ++i, priority_name(slot->settings.priority), -1, SQLITE_STATIC);
    sqlite3_bind_double(s, ++i, a->value);
    sqlite3_bind_double(s, ++i, a->limit);
    sqlite3_bind_text(s, ++i, alert_unit(slot), -1, SQLITE_STATIC);
    store_bind_text(s, ++i, a->cause);
    store_bind_text(s, ++i, a->evidence);
    store_bind_text(s, ++i, a->action);
    store_bind_utc(s, ++i, a->due);
    store_bind_text(s, ++i, a->who);
    store_bind_text(s, ++i, a->why);
    sqlite3_bind_int(s, ++i, note->announce);
    return store_step(s);
}

static const char *place_text(const struct store *store, int place)
{
    return place >= 0 ? store->site->places[place].text : NULL;
}

static const char *quantity_text(enum quantity q)
{
    return q < Q_COUNT ? quantity_info(q)->name : NULL;
}

static bool write_event(struct store *store, const struct note *note)
{
    const struct event *e = &note->u.event;
    sqlite3_stmt *s = store_statement(store, PUT_EVENT);
    if (s == NULL)
        return false;
    sqlite3_bind_int64(s, 1, note->t.ms);
    sqlite3_bind_text(s, 2, event_kind_name(e->kind), -1, SQLITE_STATIC);
    store_bind_text(s, 3, place_text(store, e->place));
    store_bind_text(s, 4, quantity_text(e->quantity));
    sqlite3_bind_double(s, 5, e->value);
    store_bind_text(s, 6, e->text);
    return store_step(s);
}

bool store_write_note(struct store *store, const struct note *note)
{
    switch (note->kind) {
    case NOTE_ALERT:
        return write_alert(store, note) && write_change(store, note);
    case NOTE_EVENT:
        return write_event(store, note);
    case NOTE_JOURNAL:
        return store_write_journal(store, &note->u.journal);
    }
    return false;
}

bool store_put_meta(struct store *store, const char *name, int64_t value)
{
    sqlite3_stmt *s = store_statement(store, PUT_META);
    if (s == NULL)
        return false;
    sqlite3_bind_text(s, 1, name, -1, SQLITE_STATIC);
    sqlite3_bind_int64(s, 2, value);
    return store_step(s);
}

int64_t store_meta(struct store *store, const char *name, int64_t otherwise)
{
    char sql[96];
    snprintf(sql, sizeof sql, "SELECT value FROM meta WHERE name = '%s'", name);
    return schema_number(store->db, sql, otherwise);
}

bool store_write_position(struct store *store, uint64_t seq)
{
    return store_put_meta(store, "inbox_position", (int64_t)seq);
}
