/* From a path to a sound store with known probes, whatever state the file is in. */
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#include "adapters/log.h"
#include "adapters/sd.h"
#include "adapters/store_inside.h"
#include "adapters/store_readers.h"
#include "adapters/store_schema.h"

#define LOG_PAGES 2000 /* then the log is carried over */

static int note_log(void *context, sqlite3 *db, const char *name, int pages)
{
    struct store *store = context;
    (void)db;
    (void)name;
    if (pages >= LOG_PAGES && store->sync != NULL)
        store_log_carry_over(store->sync);
    return SQLITE_OK;
}

/* In place of the carrying over that a commit would do by itself, and wait for. */
static enum status start_sync(struct store *store, struct why *why)
{
    store->sync = store_log_start(store->path);
    if (store->sync == NULL)
        return why_say(why, STATUS_IO, "store %s: no thread for its syncs", store->path);
    sqlite3_wal_hook(store->db, note_log, store);
    store->readers = store_readers_watch(store->path);
    store->syncing = SYNCING_UNKNOWN;
    store->ticket = 0;
    return STATUS_OK;
}

void store_detach(struct store *store)
{
    store_log_stop(store->sync);
    store->sync = NULL;
    /* Closing carries the log over, and must sync what it writes before the log is removed. */
    if (store->db != NULL)
        schema_run(store->db, "PRAGMA synchronous=NORMAL");
    for (int i = 0; i < STATEMENT_COUNT; i++) {
        sqlite3_finalize(store->statements[i]);
        store->statements[i] = NULL;
    }
    /* What is damaged is looked at, and its log kept, by the next opening. */
    if (store->db != NULL && store->damaged)
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    sqlite3_close(store->db);
    store->db = NULL;
    store->readers = store_readers_end(store->readers);
}

/* Minutes for a large store. */
static void tell_of_upgrade(struct store *store)
{
    int version = (int)schema_number(store->db, "PRAGMA user_version", 0);
    int newest = schema_steps[schema_step_count - 1].version;
    if (version == 0 || version == newest)
        return;
    log_say(LOG_AT_NOTICE, "store %s is copied and brought from version %d to %d; watching begins after it",
            store->path, version, newest);
    sd_tell_status("the store is brought from version %d to %d", version, newest);
}

static enum status open_sound(struct store *store, struct why *why)
{
    enum status st = schema_open(store->path, schema_steps, schema_step_count, &store->db, why);
    if (st == STATUS_OK)
        st = schema_check(store->db, store->path, store->damaged, why);
    if (st == STATUS_OK) {
        tell_of_upgrade(store);
        st = schema_migrate(store->db, store->path, schema_steps, schema_step_count, why);
    }
    if (st == STATUS_OK)
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 0, NULL);
    else
        store_detach(store);
    return st;
}

static enum status start_anew(struct store *store, struct why *why)
{
    char aside[560];
    struct why found = *why;
    enum status st = schema_set_aside(store->path, "damaged", aside, sizeof aside, why);
    if (st != STATUS_OK)
        return st;
    int64_t rows = 0;
    store->damaged = false;
    st = schema_open(store->path, schema_steps, schema_step_count, &store->db, why);
    if (st == STATUS_OK)
        st = schema_salvage(store->db, store->path, aside, schema_steps, schema_step_count, &rows, why);
    if (st != STATUS_OK) {
        store_detach(store);
        return st;
    }
    sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 0, NULL);
    why_say(why, STATUS_OK,
            "the store was damaged: set aside as %s, %lld rows taken over into a new one (%s)", aside,
            (long long)rows, found.text);
    return STATUS_OK;
}

static void bind_identity(const struct site *site, sqlite3_stmt *stmt, int stream)
{
    const struct stream *s = &site->streams[stream];
    sqlite3_bind_text(stmt, 1, s->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(stmt, 2, site->places[s->place].text, -1, SQLITE_STATIC);
    sqlite3_bind_text(stmt, 3, quantity_info(s->quantity)->name, -1, SQLITE_STATIC);
}

static bool find_probe(struct store *store, sqlite3_stmt *select, int stream)
{
    bind_identity(store->site, select, stream);
    bool found = sqlite3_step(select) == SQLITE_ROW;
    if (found) {
        store->probe_id[stream] = sqlite3_column_int64(select, 0);
        store->settled_ms[stream] = sqlite3_column_int64(select, 1);
    }
    sqlite3_reset(select);
    return found;
}

static bool add_probe(struct store *store, sqlite3_stmt *insert, int stream)
{
    const struct stream *s = &store->site->streams[stream];
    bind_identity(store->site, insert, stream);
    sqlite3_bind_text(insert, 4, quantity_info(s->quantity)->unit, -1, SQLITE_STATIC);
    sqlite3_bind_text(insert, 5, site_stream_entry(store->site, stream)->device, -1, SQLITE_STATIC);
    return store_step(insert);
}

/* Writes only probes that are new: a start costs nothing otherwise. */
enum status store_probes_bind(struct store *store)
{
    static const char put[] = "INSERT INTO probe(name, place, quantity, unit, device) VALUES(?,?,?,?,?)";
    static const char find[] =
        "SELECT id, settled_ms FROM probe WHERE name = ? AND place = ? AND quantity = ?";
    sqlite3_stmt *insert = NULL, *select = NULL;
    bool ok = sqlite3_prepare_v2(store->db, put, -1, &insert, NULL) == SQLITE_OK &&
              sqlite3_prepare_v2(store->db, find, -1, &select, NULL) == SQLITE_OK && store_begin(store, true);
    for (int i = 0; ok && i < store->site->stream_count; i++)
        ok = find_probe(store, select, i) || (add_probe(store, insert, i) && find_probe(store, select, i));
    sqlite3_finalize(insert);
    sqlite3_finalize(select);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

enum status store_attach(struct store *store, struct why *why)
{
    struct why unused = { "" };
    why = why != NULL ? why : &unused;
    enum status st = open_sound(store, why);
    if (st == STATUS_INVALID)
        st = start_anew(store, why);
    if (st == STATUS_OK)
        st = start_sync(store, why);
    if (st != STATUS_OK) {
        store_detach(store);
        return st;
    }
    if (store_probes_bind(store) != STATUS_OK) {
        st = why_say(why, STATUS_IO, "%s", store->counts.reason);
        store_detach(store);
    }
    return st;
}
