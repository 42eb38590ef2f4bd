/* Gathers in memory, commits in one piece, keeps and tries again when the disk will not take it. */
#include "adapters/store.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "adapters/store_inside.h"
#include "adapters/store_readers.h"
#include "adapters/store_schema.h"

#define BACKOFF_FIRST_MS MS_PER_S
#define BACKOFF_MOST_MS  MS_PER_MIN
#define READINGS_LEAST   4096
#define LOOK_AGAIN_MS    20 /* while the disk is busy */

static size_t reading_room(const struct site *site)
{
    size_t wanted = 16 * (size_t)(site->store.commit_rows > 0 ? site->store.commit_rows : 1);
    return wanted < READINGS_LEAST ? READINGS_LEAST : wanted;
}

enum status store_open(const struct site *site, struct store **out, struct why *why)
{
    struct store *store = calloc(1, sizeof *store);
    *out = NULL;
    if (why != NULL)
        why->text[0] = 0;
    if (store == NULL)
        return why_say(why, STATUS_REFUSED, "no memory for the store");
    store->site = site;
    store->readers = -1;
    store->reading_cap = reading_room(site);
    store->readings = calloc(store->reading_cap, sizeof *store->readings);
    store->notes = calloc(NOTES_MAX, sizeof *store->notes);
    store->probe_id = calloc((size_t)site->stream_count + 1, sizeof *store->probe_id);
    store->settled_ms = calloc((size_t)site->stream_count + 1, sizeof *store->settled_ms);
    store->newest = calloc((size_t)site->stream_count + 1, sizeof *store->newest);
    store->due_at = store->retry_at = store->steady_since = MONO_NONE;
    store->counts.last_commit = UTC_NONE;
    snprintf(store->path, sizeof store->path, "%s", site->store.path);
    enum status st = STATUS_REFUSED;
    if (store->readings != NULL && store->notes != NULL && store->probe_id != NULL &&
        store->settled_ms != NULL && store->newest != NULL)
        st = store_attach(store, why);
    if (st != STATUS_OK && st != STATUS_IO) {
        store_close(store);
        return st;
    }
    store->seq_put = store->seq_written = store->seq_safe = store->ticket_seq = store_inbox_position(store);
    store->counts.failing = st != STATUS_OK;
    *out = store;
    return st;
}

void store_close(struct store *store)
{
    if (store == NULL)
        return;
    store_detach(store);
    free(store->readings);
    free(store->notes);
    free(store->probe_id);
    free(store->settled_ms);
    free(store->newest);
    free(store);
}

struct sqlite3_stmt *store_statement(struct store *store, enum statement which)
{
#define INTO(table) "INSERT INTO " table "(key, raw, value, verdict) VALUES(?,?,?,?)"
#define FIRST_STAYS " ON CONFLICT DO NOTHING"
#define REVISED                                                                                              \
    " ON CONFLICT DO UPDATE SET raw = excluded.raw, value = excluded.value, verdict = excluded.verdict"
    static const char *const text[STATEMENT_COUNT] = {
        [PUT_RECENT] = INTO("recent") FIRST_STAYS,
        [PUT_READING] = INTO("reading") FIRST_STAYS,
        [REVISE_RECENT] = INTO("recent") REVISED,
        [REVISE_READING] = INTO("reading") REVISED,
        [PUT_TOUCHED] = "INSERT INTO touched VALUES(?,?)" FIRST_STAYS,
        [PUT_ALERT] =
            "INSERT OR REPLACE INTO alert VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        [PUT_ALERT_CHANGE] = "INSERT INTO alert_change VALUES(NULL,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        [PUT_EVENT] = "INSERT INTO event VALUES(NULL,?,?,?,?,?,?)",
        /* A number that is taken (a store that was put back from a copy) must not cost the entry. */
        [PUT_JOURNAL] = "INSERT INTO journal(id, written_ms, at_ms, kind, place, water, batch, litres, grams,"
                        " kit, lot, other, who, text, corrects)"
                        " VALUES(CASE WHEN EXISTS(SELECT 1 FROM journal WHERE id = ?1) THEN NULL ELSE ?1 END,"
                        "?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        [PUT_JOURNAL_ITEM] = "INSERT OR REPLACE INTO journal_item(entry, role, name, amount, sd)"
                             " VALUES(?,?,?,?,?)",
        [SUPERSEDE_JOURNAL] = "UPDATE journal SET superseded_by = ? WHERE id = ? AND superseded_by IS NULL",
        [WITHDRAW_JOURNAL] = "UPDATE journal SET withdrawn_ms = ?, withdrawn_by = ?, withdrawn_why = ?"
                             " WHERE id = ? AND withdrawn_ms IS NULL",
        [PUT_META] = "INSERT OR REPLACE INTO meta VALUES(?,?)",
        [PUT_ROLLUP] = "INSERT OR REPLACE INTO rollup_15min VALUES(?,?,?,?,?,?,?,?,?,?)",
        [PUT_DAY] = "INSERT OR REPLACE INTO rollup_day VALUES(?,?,?,?,?,?,?,?,?,?)",
        [READ_SPAN] =
            STORE_STRETCHES("?2", "?3") "SELECT t_ms, raw, value, flag, tests, marks FROM stretch"
                                        " CROSS JOIN reading ON " STORE_IN_STRETCH("?1", "?2", "?3"),
        [READ_GROUP] = STORE_STRETCHES("?2", "?3") "SELECT key, probe, t_ms, raw, value, flag, tests, marks"
                                                   " FROM stretch CROSS JOIN reading"
                                                   " ON key >= ((n << 17) | ?1) << 20"
                                                   " AND key < ((n << 17) | ?4) + 1 << 20"
                                                   " WHERE t_ms >= ?2 AND t_ms < ?3",
        [DROP_READING] = "DELETE FROM reading WHERE key = ?",
    };
    sqlite3_stmt **stmt = &store->statements[which];
    if (*stmt == NULL)
        sqlite3_prepare_v3(store->db, text[which], -1, SQLITE_PREPARE_PERSISTENT, stmt, NULL);
    return *stmt;
}

/* Nothing is synced here (store_log does), but the head of a log that was not cut whole. */
static bool set_syncing(struct store *store, bool fresh)
{
    enum store_syncing wanted = fresh ? SYNCING_OFF : SYNCING_NORMAL;
    if (store->syncing == wanted)
        return true;
    bool set =
        schema_run(store->db, fresh ? "PRAGMA synchronous=OFF" : "PRAGMA synchronous=NORMAL") == SQLITE_OK;
    store->syncing = set ? wanted : SYNCING_UNKNOWN;
    return set;
}

static bool begin(struct store *store, bool safe, bool fresh)
{
    store->entered = true;
    store->safe_wanted = safe;
    return set_syncing(store, fresh) && schema_run(store->db, "BEGIN IMMEDIATE") == SQLITE_OK;
}

bool store_begin(struct store *store, bool safe)
{
    bool fresh;
    if (store->db == NULL)
        return false;
    store_log_enter(store->sync, &fresh);
    return begin(store, safe, fresh);
}

static bool resting(const struct store *store)
{
    return mono_is_set(store->retry_at) && store->seen.mono.ms < store->retry_at.ms;
}

static void note_failure(struct store *store)
{
    struct why why = { "" };
    int code = store->db != NULL ? sqlite3_errcode(store->db) : SQLITE_CANTOPEN;
    if (store->db != NULL && schema_status(store->db, code, store->path, &why) == STATUS_INVALID)
        store->damaged = true;
    if (why.text[0] != 0)
        snprintf(store->counts.reason, sizeof store->counts.reason, "%.*s",
                 (int)sizeof store->counts.reason - 1, why.text);
    store->counts.failures++;
    store->counts.failing = true;
    /* What else is tried meanwhile, for each alert anew, must not put off the next commit further and
     * further. */
    if (store->backoff_ms > 0 && resting(store))
        return;
    store->backoff_ms = store->backoff_ms == 0 ? BACKOFF_FIRST_MS : 2 * store->backoff_ms;
    if (store->backoff_ms > BACKOFF_MOST_MS)
        store->backoff_ms = BACKOFF_MOST_MS;
    store->retry_at = mono_add(store->seen.mono, store->backoff_ms);
}

static void leave(struct store *store, bool done)
{
    if (!store->entered)
        return;
    store->entered = false;
    store_log_leave(store->sync);
    if (done && store->safe_wanted)
        store->ticket = store_log_ask(store->sync);
}

bool store_end(struct store *store, bool ok)
{
    if (store->db == NULL)
        return false;
    bool done = ok && schema_run(store->db, "COMMIT") == SQLITE_OK;
    if (!done) {
        note_failure(store);
        if (!sqlite3_get_autocommit(store->db))
            schema_run(store->db, "ROLLBACK");
    }
    leave(store, done);
    if (!done && store->damaged)
        store_detach(store);
    return done;
}

int64_t store_probe(const struct store *store, int stream)
{
    return stream >= 0 && stream < store->site->stream_count ? store->probe_id[stream] : 0;
}

static bool write_all(struct store *store)
{
    for (size_t i = 0; i < store->reading_count; i++)
        if (!store_write_reading(store, &store->readings[(store->reading_first + i) % store->reading_cap]))
            return false;
    for (size_t i = 0; i < store->note_count; i++)
        if (!store_write_note(store, &store->notes[i]))
            return false;
    return store_write_position(store, store->seq_put);
}

/* A ring on the card gives its records up once they are committed: then the commit itself must be safe. */
static bool syncs_every(const struct store *store)
{
    return store->site->store.sync == STORE_SYNC_EVERY;
}

static void settled(struct store *store)
{
    store->counts.commits++;
    store->counts.last_commit = store->seen.utc;
    store->counts.failing = false;
    store->counts.reason[0] = 0;
    store->backoff_ms = 0;
    store->retry_at = store->due_at = MONO_NONE;
    store->reading_first = store->reading_count = store->note_count = 0;
    store->seq_written = store->ticket_seq = store->seq_put;
    if (!syncs_every(store))
        store->seq_safe = store->seq_put;
}

static void look_whether_safe(struct store *store)
{
    if (store->seq_safe != store->ticket_seq && store->sync != NULL &&
        store_log_reached(store->sync, store->ticket))
        store->seq_safe = store->ticket_seq;
}

/* False: the log is being cut. */
static bool enter(struct store *store, bool wait, bool *fresh)
{
    if (!wait)
        return store_log_try(store->sync, fresh);
    store_log_enter(store->sync, fresh);
    return true;
}

/* Nothing of the buffer is forgotten unless all of it is on the disk. */
static enum status try_commit(struct store *store, bool safe, bool wait)
{
    struct why why = { "" };
    uint64_t stored = store->counts.stored;
    bool fresh;
    if (store->db == NULL && store_attach(store, &why) != STATUS_OK) {
        snprintf(store->counts.reason, sizeof store->counts.reason, "%.*s",
                 (int)sizeof store->counts.reason - 1, why.text);
        note_failure(store);
        return STATUS_IO;
    }
    if (!enter(store, wait, &fresh)) {
        store->retry_at = mono_add(store->seen.mono, LOOK_AGAIN_MS);
        return STATUS_IO;
    }
    bool ok = begin(store, safe || syncs_every(store), fresh) && write_all(store);
    if (!store_end(store, ok)) {
        store->counts.stored = stored;
        for (int i = 0; i < store->site->stream_count; i++)
            store->newest[i].written = false;
        return STATUS_IO;
    }
    settled(store);
    return STATUS_OK;
}

/* A spike's verdict mostly settles before its reading was written: then one row serves both. */
static bool revise_waiting(struct store *store, const struct reading *r)
{
    size_t slot = store->newest[r->stream].slot;
    size_t age = (slot + store->reading_cap - store->reading_first) % store->reading_cap;
    struct reading *waiting = &store->readings[slot];
    if (age >= store->reading_count || waiting->stream != r->stream || waiting->t.ms != r->t.ms)
        return false;
    *waiting = *r; /* with its mark: the row may be there already, when messages came a second time */
    return true;
}

void store_put_reading(struct store *store, const struct reading *r)
{
    if (r->revised)
        store->newest[r->stream].passes = verdict_get(r->tests, TEST_SPIKE) == FLAG_GOOD;
    if (r->revised && (revise_waiting(store, r) || store_was_foretold(store, r)))
        return;
    if (store->reading_count == store->reading_cap) {
        store->reading_first = (store->reading_first + 1) % store->reading_cap;
        store->reading_count--;
        store->counts.given_way++;
    }
    size_t slot = (store->reading_first + store->reading_count++) % store->reading_cap;
    store->readings[slot] = *r;
    if (!r->revised)
        store->newest[r->stream].slot = slot;
}

static bool superseded(const struct store *store, size_t i)
{
    if (store->notes[i].kind != NOTE_ALERT)
        return false;
    for (size_t k = i + 1; k < store->note_count; k++)
        if (store->notes[k].kind == NOTE_ALERT &&
            store->notes[k].u.alert.index == store->notes[i].u.alert.index)
            return true;
    return false;
}

static size_t note_to_give_way(const struct store *store)
{
    for (size_t i = 0; i < store->note_count; i++)
        if (store->notes[i].kind == NOTE_EVENT)
            return i;
    for (size_t i = 0; i < store->note_count; i++)
        if (superseded(store, i))
            return i;
    return 0;
}

static struct note *note_new(struct store *store, enum note_kind kind, utc_t t)
{
    if (store->note_count == NOTES_MAX) {
        size_t i = note_to_give_way(store);
        memmove(&store->notes[i], &store->notes[i + 1], (NOTES_MAX - i - 1) * sizeof *store->notes);
        store->note_count--;
        store->counts.given_way++;
    }
    struct note *note = &store->notes[store->note_count++];
    note->kind = kind;
    note->t = t;
    return note;
}

void store_hold_alert(struct store *store, const struct alert *a, enum alert_change change, utc_t t,
                      bool announce)
{
    struct note *note = note_new(store, NOTE_ALERT, t);
    note->change = change;
    note->announce = announce;
    note->u.alert = *a;
}

void store_hold_journal(struct store *store, const struct journal_entry *e, utc_t t)
{
    note_new(store, NOTE_JOURNAL, t)->u.journal = *e;
}

void store_hold_event(struct store *store, const struct event *e, utc_t t)
{
    note_new(store, NOTE_EVENT, t)->u.event = *e;
}

static bool dirty(const struct store *store)
{
    return store->reading_count > 0 || store->note_count > 0 || store->seq_put != store->seq_written;
}

static bool due(const struct store *store)
{
    return store->reading_count >= (size_t)store->site->store.commit_rows ||
           store->note_count >= NOTES_MAX / 2 || store->seen.mono.ms >= store->due_at.ms;
}

enum status store_commit(struct store *store, uint64_t inbox_seq, struct now now, bool force,
                         uint64_t *committed)
{
    enum status st = STATUS_OK;
    store->seen = now;
    store->seq_put = inbox_seq;
    if (dirty(store)) {
        if (!mono_is_set(store->due_at))
            store->due_at = mono_add(now.mono, (int64_t)(store->site->store.commit_s * MS_PER_S));
        if (resting(store))
            st = STATUS_IO;
        else if (force || due(store))
            st = try_commit(store, force, false);
    }
    look_whether_safe(store);
    *committed = store->seq_safe;
    return st;
}

enum status store_commit_last(struct store *store, uint64_t inbox_seq, struct now now, uint64_t *committed)
{
    enum status st = STATUS_OK;
    store->seen = now;
    store->seq_put = inbox_seq;
    if (dirty(store))
        st = try_commit(store, true, true);
    if (store->sync != NULL)
        store_log_wait(store->sync, store->ticket);
    look_whether_safe(store);
    *committed = store->seq_safe;
    return st;
}

mono_t store_deadline(const struct store *store)
{
    mono_t due = MONO_NEVER;
    if (dirty(store) && mono_is_set(store->due_at))
        due = mono_is_set(store->retry_at) ? store->retry_at : store->due_at;
    if (store->seq_safe != store->ticket_seq)
        due = mono_min(due, mono_add(store->seen.mono, LOOK_AGAIN_MS));
    return due;
}

uint64_t store_inbox_position(struct store *store)
{
    if (store->db == NULL)
        return store->seq_safe;
    return (uint64_t)schema_number(store->db, "SELECT value FROM meta WHERE name = 'inbox_position'", 0);
}

struct store_counts store_counts(const struct store *store)
{
    struct store_counts counts = store->counts;
    struct stat st;
    char wal[520];
    counts.buffered = store->reading_count + store->note_count;
    snprintf(wal, sizeof wal, "%s-wal", store->path);
    counts.file_bytes = stat(store->path, &st) == 0 ? st.st_size : 0;
    counts.wal_bytes = stat(wal, &st) == 0 ? st.st_size : 0;
    return counts;
}

void store_tell_log(const struct store *store, char *buf, size_t cap)
{
    char reader[64];
    bool known = store_readers_tell(store->readers, reader, sizeof reader);
    long long mib = store_counts(store).wal_bytes >> 20;
    if (known)
        (void)snprintf(buf, cap, "the log is %lld MiB: %s has the store open and is reading it", mib, reader);
    else
        (void)snprintf(buf, cap, "the log is %lld MiB and not cut yet; just now nobody else reads the store",
                       mib);
}

/* Where a thing of the old site stands in the new one, by name; -1 when it is gone. */
static int moved_place(const struct site *from, const struct site *to, int place)
{
    const char *text = place >= 0 ? from->places[place].text : "";
    return site_place_find(to, text, strlen(text));
}

static int moved_alert(const struct site *from, const struct site *to, int alert)
{
    const char *ref = alert >= 0 ? from->alerts[alert].ref : "";
    return site_alert_find(to, ref, strlen(ref));
}

static int moved_stream(const struct site *from, const struct site *to, int stream)
{
    for (int i = 0; i < to->stream_count; i++)
        if (strcmp(to->streams[i].name, from->streams[stream].name) == 0)
            return i;
    return -1;
}

static bool carry_note(const struct site *from, const struct site *to, struct note *note)
{
    switch (note->kind) {
    case NOTE_ALERT:
        note->u.alert.leader = moved_alert(from, to, note->u.alert.leader);
        return (note->u.alert.index = moved_alert(from, to, note->u.alert.index)) >= 0;
    case NOTE_EVENT:
        note->u.event.place = moved_place(from, to, note->u.event.place);
        return true;
    case NOTE_JOURNAL:
        return true; /* names stand in it as text */
    }
    return false;
}

static void carry_over(struct store *store, const struct site *to)
{
    size_t readings = 0, notes = 0;
    for (size_t i = 0; i < store->reading_count; i++) {
        struct reading r = store->readings[(store->reading_first + i) % store->reading_cap];
        r.stream = moved_stream(store->site, to, r.stream);
        if (r.stream >= 0)
            store->readings[(store->reading_first + readings++) % store->reading_cap] = r;
    }
    store->counts.given_way += store->reading_count - readings;
    store->reading_count = readings;
    for (size_t i = 0; i < store->note_count; i++)
        if (carry_note(store->site, to, &store->notes[i]))
            store->notes[notes++] = store->notes[i];
    store->counts.given_way += store->note_count - notes;
    store->note_count = notes;
}

enum status store_bind(struct store *store, const struct site *site, struct why *why)
{
    int64_t *probe_id = calloc((size_t)site->stream_count + 1, sizeof *probe_id);
    int64_t *settled_ms = calloc((size_t)site->stream_count + 1, sizeof *settled_ms);
    struct newest *newest = calloc((size_t)site->stream_count + 1, sizeof *newest);
    if (probe_id == NULL || settled_ms == NULL || newest == NULL) {
        free(probe_id);
        free(settled_ms);
        free(newest);
        return why_say(why, STATUS_REFUSED, "no memory for the probes of the store");
    }
    if (dirty(store) && try_commit(store, false, true) != STATUS_OK)
        carry_over(store, site);
    free(store->probe_id);
    free(store->settled_ms);
    free(store->newest);
    store->newest = newest;
    store->probe_id = probe_id;
    store->settled_ms = settled_ms;
    store->site = site;
    if (store->db == NULL || store_probes_bind(store) != STATUS_OK) {
        /* The next commit opens the store anew and binds then. */
        store_detach(store);
        return why_say(why, STATUS_IO, "store %s cannot be written now; it is tried again", store->path);
    }
    return STATUS_OK;
}
