/* Work that can wait: settling, rollups of late readings, retention, giving space back. Each call does one
 * bounded piece in a transaction of its own. */
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

/* Rows keyed by time are cheap to write, rows keyed by probe cheap to read. The longer they gather before
 * they are moved, the fewer pages the move touches; the sooner, the less a question has to scan. */
#define SETTLE_EVERY_MS (12 * MS_PER_HOUR)
#define SETTLE_LAG_MS   (2 * MS_PER_MIN) /* spikes settle and stragglers come before their readings move */
#define SETTLE_ROWS     8000             /* about as many per piece */

/* A clock that jumped must not purge: its relation to the boot clock must have held this long. */
#define STEADY_MS (6 * MS_PER_HOUR)
#define STEP_MS   MS_PER_HOUR

#define VACUUM_PAGES_FREE 8192
#define VACUUM_PIECE      "PRAGMA incremental_vacuum(256)"

static int64_t number(struct store *store, const char *sql)
{
    return schema_number(store->db, sql, 0);
}

static void note_clock(struct store *store, struct now now)
{
    int64_t relation = now.utc.ms - now.mono.ms;
    store->seen = now;
    if (!mono_is_set(store->steady_since) || llabs(relation - store->wall_minus_mono) > STEP_MS) {
        store->wall_minus_mono = relation;
        store->steady_since = now.mono;
    }
}

static bool run_with(struct store *store, const char *sql, int64_t a, int64_t b, int64_t c)
{
    sqlite3_stmt *s = NULL;
    bool ok = sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    int wanted = ok ? sqlite3_bind_parameter_count(s) : 0;
    const int64_t values[] = { a, b, c };
    for (int i = 0; i < wanted && i < 3; i++)
        sqlite3_bind_int64(s, i + 1, values[i]);
    ok = ok && store_step(s);
    sqlite3_finalize(s);
    return ok;
}

/* Rollups and days that one probe's newly settled readings complete. */
static bool roll_probe(struct store *store, int64_t probe, int64_t from, int64_t to)
{
    if (!store_roll_span(store, probe, floor_to(from, ROLLUP_MS), to))
        return false;
    for (int64_t day = floor_to(from, MS_PER_DAY); day + MS_PER_DAY <= to; day += MS_PER_DAY)
        if (!store_roll_day(store, probe, day))
            return false;
    return true;
}

static bool move_rows(struct store *store, int64_t first, int64_t last, int64_t to)
{
    return run_with(store,
                    "INSERT INTO reading SELECT probe, t_ms, raw, value, flag, tests, marks FROM recent"
                    " WHERE key < " STORE_RECENT_KEY("?3") " AND probe BETWEEN ?1 AND ?2 ORDER BY probe, t_ms"
                                                           " ON CONFLICT DO NOTHING",
                    first, last, to);
}

/* Bins from the probe's first row that moved now: those before were rolled when they moved. */
static bool roll_group(struct store *store, int64_t first, int64_t last, int64_t to)
{
    static const char sql[] =
        "SELECT id, t, settled_ms FROM (SELECT id, settled_ms, (SELECT min(t_ms) FROM reading"
        " WHERE probe = id AND t_ms >= settled_ms AND t_ms < ?3) AS t FROM probe"
        " WHERE id BETWEEN ?1 AND ?2) WHERE t IS NOT NULL";
    sqlite3_stmt *s;
    int code;
    bool ok = true;
    if (sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, first);
    sqlite3_bind_int64(s, 2, last);
    sqlite3_bind_int64(s, 3, to);
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW) {
        int64_t from = sqlite3_column_int64(s, 1), settled = sqlite3_column_int64(s, 2);
        /* A day that ended without a reading near its end is still owed its row. */
        if (settled > 0 && floor_to(settled, MS_PER_DAY) < floor_to(from, MS_PER_DAY))
            ok = store_roll_day(store, sqlite3_column_int64(s, 0), floor_to(settled, MS_PER_DAY));
        ok = ok && roll_probe(store, sqlite3_column_int64(s, 0), from, to);
    }
    sqlite3_finalize(s);
    return ok && code == SQLITE_DONE;
}

static void remember_settled(struct store *store, int64_t first, int64_t last, int64_t to)
{
    for (int i = 0; i < store->site->stream_count; i++)
        if (store->probe_id[i] >= first && store->probe_id[i] <= last && store->settled_ms[i] < to)
            store->settled_ms[i] = to;
}

/* The oldest group of probes not yet settled; false when there is none. */
static bool next_group(struct store *store, int64_t to, int64_t *first, int64_t *last)
{
    int64_t rows = number(store, "SELECT count(*) FROM recent");
    int64_t probes = number(store, "SELECT count(*) FROM probe");
    int64_t group = probes * SETTLE_ROWS / (rows > 0 ? rows : 1);
    char sql[160];
    snprintf(sql, sizeof sql, "SELECT min(id) FROM probe WHERE settled_ms < %lld", (long long)to);
    *first = number(store, sql);
    *last = *first + (group > 0 ? group - 1 : 0);
    return *first > 0;
}

/* Emptying a table as a whole frees its pages unread; deleting row by row would write each of them once more.
 */
static bool empty_recent(struct store *store, int64_t to)
{
    static const char tail[] = "CREATE TEMP TABLE IF NOT EXISTS tail(key, raw, value, verdict);"
                               "DELETE FROM tail";
    static const char keep[] = "INSERT INTO tail SELECT key, raw, value, verdict FROM recent"
                               " WHERE key >= " STORE_RECENT_KEY("?");
    static const char refill[] =
        "DELETE FROM recent; INSERT INTO recent SELECT * FROM tail ORDER BY key; DELETE FROM tail";
    return schema_run(store->db, tail) == SQLITE_OK && run_with(store, keep, to, 0, 0) &&
           schema_run(store->db, refill) == SQLITE_OK;
}

static bool settle(struct store *store, int64_t to)
{
    int64_t first, last;
    bool more = next_group(store, to, &first, &last);
    if (!store_begin(store, false))
        return store_end(store, false);
    bool ok = more ? move_rows(store, first, last, to) && roll_group(store, first, last, to) &&
                         run_with(store,
                                  "UPDATE probe SET settled_ms = ?3 WHERE id BETWEEN ?1 AND ?2"
                                  " AND settled_ms < ?3",
                                  first, last, to)
                   : empty_recent(store, to);
    if (!store_end(store, ok))
        return false;
    if (more)
        remember_settled(store, first, last, to);
    else
        store->settled_to = to;
    return true;
}

/* Late readings changed a quarter hour that was already rolled up. */
static bool roll_touched(struct store *store)
{
    sqlite3_stmt *s;
    bool ok = true;
    int code = SQLITE_DONE;
    int64_t thinned = store_thinned_to(store);
    if (!store_begin(store, false) ||
        sqlite3_prepare_v2(store->db,
                           "SELECT t.probe, t.t_ms, p.settled_ms, p.purged_ms FROM touched t JOIN probe p"
                           " ON p.id = t.probe ORDER BY t.probe, t.t_ms LIMIT 100",
                           -1, &s, NULL) != SQLITE_OK)
        return store_end(store, false);
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW) {
        int64_t probe = sqlite3_column_int64(s, 0), bin = sqlite3_column_int64(s, 1);
        int64_t day = floor_to(bin, MS_PER_DAY);
        /* Once the raw readings are gone the rollup knows more than what is left. */
        if (bin >= sqlite3_column_int64(s, 3) && bin >= thinned)
            ok = store_roll_span(store, probe, bin, bin + ROLLUP_MS) &&
                 (day + MS_PER_DAY > sqlite3_column_int64(s, 2) || store_roll_day(store, probe, day));
    }
    sqlite3_finalize(s);
    ok = ok && code == SQLITE_DONE &&
         run_with(store,
                  "DELETE FROM touched WHERE (probe, t_ms) IN (SELECT t.probe, t.t_ms FROM touched t"
                  " JOIN probe p ON p.id = t.probe ORDER BY t.probe, t.t_ms LIMIT 100)",
                  0, 0, 0);
    return store_end(store, ok);
}

/* One probe's oldest day of raw readings beyond the span to keep. */
static bool purge(struct store *store, int64_t horizon, int64_t probe)
{
    static const char drop[] =
        "DELETE FROM reading WHERE probe = ?1 AND t_ms >= ?2 AND t_ms < ?3 AND NOT EXISTS"
        " (SELECT 1 FROM alert_change c JOIN probe p ON p.place = c.place WHERE p.id = ?1"
        " AND c.t_ms BETWEEN reading.t_ms - 21600000 AND reading.t_ms + 21600000)";
    _Static_assert(STORE_ALERT_KEEP_MS == 21600000, "as in the statement above");
    char sql[224];
    snprintf(sql, sizeof sql,
             "SELECT max(purged_ms, coalesce((SELECT min(t_ms) FROM reading WHERE probe = p.id AND"
             " t_ms >= p.purged_ms), %lld)) FROM probe p WHERE id = %lld",
             (long long)horizon, (long long)probe);
    int64_t from = number(store, sql);
    int64_t to = from + MS_PER_DAY < horizon ? from + MS_PER_DAY : horizon;
    if (!store_begin(store, false))
        return store_end(store, false);
    return store_end(store,
                     run_with(store, drop, probe, from, to) &&
                         run_with(store, "UPDATE probe SET purged_ms = ?2 WHERE id = ?1", probe, to, 0));
}

/* Readings older than so many days; 0 when the clock must not decide that. */
static int64_t horizon_of(const struct store *store, struct now now, int days)
{
    if (!now.trusted || now.mono.ms - store->steady_since.ms < STEADY_MS || days <= 0)
        return 0;
    return floor_to(now.utc.ms - days * MS_PER_DAY, MS_PER_DAY);
}

static int64_t probe_to_purge(struct store *store, int64_t horizon)
{
    char sql[96];
    if (horizon <= 0)
        return 0;
    snprintf(sql, sizeof sql, "SELECT min(id) FROM probe WHERE purged_ms < %lld", (long long)horizon);
    return number(store, sql);
}

bool store_tend(struct store *store, struct now now)
{
    bool fresh;
    note_clock(store, now);
    if (store->db == NULL || store->counts.failing || !store_log_try(store->sync, &fresh))
        return false;
    store_log_leave(store->sync);
    int64_t to = floor_to(now.utc.ms - SETTLE_LAG_MS, SETTLE_EVERY_MS);
    if (now.trusted && to > store->settled_to)
        return settle(store, to);
    if (number(store, "SELECT count(*) FROM (SELECT 1 FROM touched LIMIT 1)") > 0)
        return roll_touched(store);
    int64_t horizon = horizon_of(store, now, store->site->store.keep_raw_days),
            probe = probe_to_purge(store, horizon);
    if (probe > 0)
        return purge(store, horizon, probe);
    if (store_thin(store, horizon_of(store, now, store->site->store.thin_after_days)))
        return true;
    if (number(store, "PRAGMA freelist_count") > VACUUM_PAGES_FREE)
        return store_begin(store, false) &&
               store_end(store, schema_run(store->db, VACUUM_PIECE) == SQLITE_OK);
    return false;
}
