/* Work that can wait: settling, rollups of late readings, retention, giving space back. Each call does one
 * bounded piece in a transaction of its own. */
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

/* Recent rows move as soon as their stretch is over: behind all others, so that it costs their own bytes, and
 * the pages that they leave are written over before most of them have reached the store. Rollups lie by
 * probe, far apart: the more are made at once, the fewer pages they touch. */
#define SETTLE_LAG_MS (2 * MS_PER_MIN) /* spikes settle and stragglers come before their readings move */
#define PIECE_ROWS    8000             /* about as many */
#define PURGE_LAG_MS  MS_PER_DAY       /* so far may settling, which purges alongside, be behind */
#define ROLL_EVERY_MS (12 * MS_PER_HOUR)
#define ROLL_PROBES   4 /* per piece */

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

/* Readings older than so many days; 0 when the clock must not decide that. */
static int64_t horizon_of(const struct store *store, struct now now, int days)
{
    if (!now.trusted || now.mono.ms - store->steady_since.ms < STEADY_MS || days <= 0)
        return 0;
    return now.utc.ms - days * MS_PER_DAY;
}

static int64_t purge_end(int64_t horizon)
{
    return store_reading_key(store_stretch_of(horizon), 0);
}

static bool is_to_purge(struct store *store, int64_t horizon)
{
    return horizon > 0 && store_meta(store, "purged_key", INT64_MIN) < purge_end(horizon);
}

/* The oldest raw readings beyond the span to keep, within a transaction. They lie by time, so that whole
 * pages go with them; those near an alert of their place stay. The next piece goes on behind this one's last
 * row. */
static bool purge_rows(struct store *store, int64_t horizon)
{
    static const char drop[] =
        "DELETE FROM reading WHERE key >= ?1 AND key < ?2 AND NOT EXISTS"
        " (SELECT 1 FROM alert_change c JOIN probe p ON p.place = c.place WHERE p.id = reading.probe"
        " AND c.t_ms BETWEEN reading.t_ms - 21600000 AND reading.t_ms + 21600000)";
    _Static_assert(STORE_ALERT_KEEP_MS == 21600000, "as in the statement above");
    char sql[128];
    int64_t from = store_meta(store, "purged_key", INT64_MIN), end = purge_end(horizon);
    snprintf(sql, sizeof sql, "SELECT key FROM reading WHERE key >= %lld ORDER BY key LIMIT 1 OFFSET %d",
             (long long)from, PIECE_ROWS);
    int64_t to = schema_number(store->db, sql, end);
    to = to < end ? to : end;
    int64_t gone_ms =
        (floor_to(to - 1, STORE_STRETCH_KEYS) >> STORE_PROBE_BITS) + STORE_STRETCH_MS + STORE_ORIGIN_MS;
    return run_with(store, drop, from, to, 0) && store_put_meta(store, "purged_key", to) &&
           store_put_meta(store, "purged_ms", gone_ms);
}

/* What settling has left behind: the span to keep was made shorter, or nothing came for long. */
static bool purge_backlog(struct store *store, int64_t horizon)
{
    if (!store_begin(store, false))
        return store_end(store, false);
    return store_end(store, purge_rows(store, horizon));
}

/* Moved in the order of their new keys, without a sort of all. */
static bool move_rows(struct store *store, int64_t first, int64_t last, int64_t to)
{
    return run_with(store,
                    "INSERT INTO reading(key, raw, value, verdict)"
                    " SELECT (key >> 37 << 37) | (probe << 20) | ((key >> 17) & 1048575), raw, value, verdict"
                    " FROM recent WHERE key < " STORE_RECENT_KEY("?3") " AND probe BETWEEN ?1 AND ?2"
                                                                       " ORDER BY 1 ON CONFLICT DO NOTHING",
                    first, last, to);
}

static void remember_settled(struct store *store, int64_t first, int64_t last, int64_t to)
{
    for (int i = 0; i < store->site->stream_count; i++)
        if (store->probe_id[i] >= first && store->probe_id[i] <= last && store->settled_ms[i] < to)
            store->settled_ms[i] = to;
}

/* The oldest group of probes that are not done up to a time; false when there is none. */
static bool next_group(struct store *store, const char *column, int64_t to, int64_t size, int64_t *first,
                       int64_t *last)
{
    char sql[96];
    snprintf(sql, sizeof sql, "SELECT min(id) FROM probe WHERE %s < %lld", column, (long long)to);
    *first = number(store, sql);
    *last = *first + (size > 1 ? size - 1 : 0);
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

/* The end of the oldest stretch that has recent readings; at the most what may be settled. */
static int64_t settle_next_to(struct store *store, int64_t limit)
{
    int64_t end = number(store, "SELECT ((min(key) >> 37) + 1 << 20) + 1577836800000 FROM recent");
    return end != 0 && end < limit ? end : limit;
}

/* The probes one group after the other, then the rows they left. What is to go goes in the same transaction
 * as what comes, which takes over its pages: they are written once for both. */
static bool settle(struct store *store, int64_t to, int64_t horizon)
{
    int64_t first, last;
    int64_t rows = number(store, "SELECT count(*) FROM recent");
    int64_t probes = number(store, "SELECT count(*) FROM probe");
    bool more =
        next_group(store, "settled_ms", to, probes * PIECE_ROWS / (rows > 0 ? rows : 1), &first, &last);
    if (!store_begin(store, false))
        return store_end(store, false);
    bool ok = !more || !is_to_purge(store, horizon) || purge_rows(store, horizon);
    ok = ok && more ? move_rows(store, first, last, to) &&
                          run_with(store,
                                   "UPDATE probe SET settled_ms = ?3 WHERE id BETWEEN ?1 AND ?2"
                                   " AND settled_ms < ?3",
                                   first, last, to)
                    : ok && empty_recent(store, to);
    if (!store_end(store, ok))
        return false;
    if (more)
        remember_settled(store, first, last, to);
    else
        store->settled_to = to;
    return true;
}

/* Rollups and days that one probe's settled readings complete. */
static bool roll_probe(struct store *store, int64_t probe, int64_t from, int64_t to)
{
    if (!store_roll_span(store, probe, floor_to(from, ROLLUP_MS), to))
        return false;
    for (int64_t day = floor_to(from, MS_PER_DAY); day + MS_PER_DAY <= to; day += MS_PER_DAY)
        if (!store_roll_day(store, probe, day))
            return false;
    return true;
}

/* From the probe's first reading that was not rolled up yet. */
static bool roll_group(struct store *store, int64_t first, int64_t last, int64_t to)
{
    static const char sql[] =
        "SELECT id, t, rolled_ms FROM (SELECT id, rolled_ms, (" STORE_STRETCHES("rolled_ms", "?3")  //
        "SELECT t_ms FROM stretch CROSS JOIN reading ON " STORE_IN_STRETCH("id", "rolled_ms", "?3") //
        " LIMIT 1) AS t FROM probe WHERE id BETWEEN ?1 AND ?2 AND rolled_ms < ?3) WHERE t IS NOT NULL";
    sqlite3_stmt *s;
    int code;
    bool ok = true;
    if (sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, first);
    sqlite3_bind_int64(s, 2, last);
    sqlite3_bind_int64(s, 3, to);
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW) {
        int64_t from = sqlite3_column_int64(s, 1), rolled = sqlite3_column_int64(s, 2);
        /* A day that ended without a reading near its end is still owed its row. */
        if (rolled > 0 && floor_to(rolled, MS_PER_DAY) < floor_to(from, MS_PER_DAY))
            ok = store_roll_day(store, sqlite3_column_int64(s, 0), floor_to(rolled, MS_PER_DAY));
        ok = ok && roll_probe(store, sqlite3_column_int64(s, 0), from, to);
    }
    sqlite3_finalize(s);
    return ok && code == SQLITE_DONE;
}

static bool roll(struct store *store, int64_t to)
{
    int64_t first, last;
    if (!next_group(store, "rolled_ms", to, ROLL_PROBES, &first, &last)) {
        store->rolled_to = to;
        return true;
    }
    if (!store_begin(store, false))
        return store_end(store, false);
    return store_end(store, roll_group(store, first, last, to) &&
                                run_with(store,
                                         "UPDATE probe SET rolled_ms = ?3 WHERE id BETWEEN ?1 AND ?2"
                                         " AND rolled_ms < ?3",
                                         first, last, to));
}

/* Late readings changed a quarter hour that was already rolled up. */
static bool roll_touched(struct store *store)
{
    sqlite3_stmt *s;
    bool ok = true;
    int code = SQLITE_DONE;
    int64_t gone = store_meta(store, "purged_ms", 0), thinned = store_thinned_to(store);
    gone = thinned > gone ? thinned : gone;
    if (!store_begin(store, false) ||
        sqlite3_prepare_v2(store->db,
                           "SELECT t.probe, t.t_ms, p.rolled_ms FROM touched t JOIN probe p"
                           " ON p.id = t.probe ORDER BY t.probe, t.t_ms LIMIT 100",
                           -1, &s, NULL) != SQLITE_OK)
        return store_end(store, false);
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW) {
        int64_t probe = sqlite3_column_int64(s, 0), bin = sqlite3_column_int64(s, 1);
        int64_t day = floor_to(bin, MS_PER_DAY), rolled = sqlite3_column_int64(s, 2);
        /* Once the raw readings are gone the rollup knows more than what is left. What is not rolled up yet
         * comes with the others. */
        if (bin >= gone && bin < rolled)
            ok = store_roll_span(store, probe, bin, bin + ROLLUP_MS) &&
                 (day + MS_PER_DAY > rolled || store_roll_day(store, probe, day));
    }
    sqlite3_finalize(s);
    ok = ok && code == SQLITE_DONE &&
         run_with(store,
                  "DELETE FROM touched WHERE (probe, t_ms) IN (SELECT t.probe, t.t_ms FROM touched t"
                  " JOIN probe p ON p.id = t.probe ORDER BY t.probe, t.t_ms LIMIT 100)",
                  0, 0, 0);
    return store_end(store, ok);
}

bool store_tend(struct store *store, struct now now)
{
    bool fresh;
    note_clock(store, now);
    if (store->db == NULL || store->counts.failing || !store_log_try(store->sync, &fresh))
        return false;
    store_log_leave(store->sync);
    int64_t limit = store_stretch_of(now.utc.ms - SETTLE_LAG_MS);
    int64_t horizon = horizon_of(store, now, store->site->store.keep_raw_days);
    horizon = horizon < store->rolled_to ? horizon : store->rolled_to; /* not before their rollups stand */
    if (now.trusted && limit > store->settled_to)
        return settle(store, settle_next_to(store, limit), horizon);
    int64_t rolled = floor_to(store->settled_to, ROLL_EVERY_MS);
    if (rolled > store->rolled_to)
        return roll(store, rolled);
    if (number(store, "SELECT count(*) FROM (SELECT 1 FROM touched LIMIT 1)") > 0)
        return roll_touched(store);
    if (is_to_purge(store, horizon - PURGE_LAG_MS))
        return purge_backlog(store, horizon);
    if (store_thin(store, floor_to(horizon_of(store, now, store->site->store.thin_after_days), MS_PER_DAY)))
        return true;
    if (number(store, "PRAGMA freelist_count") > VACUUM_PAGES_FREE)
        return store_begin(store, false) &&
               store_end(store, schema_run(store->db, VACUUM_PIECE) == SQLITE_OK);
    return false;
}
