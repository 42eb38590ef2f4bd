/* Old raw readings, thinned: a day at a time, one probe a piece, so that a straight line between those that
 * stay is nowhere further off than store.thin_bound allows. What was not good stays, and so does a whole day
 * near an alert of the place. Rollups were made of all of them before. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"
#include "base/door.h"

#define ROWS_MOST 100000 /* of one probe in a day: more are left as they are */

struct thinning {
    int64_t *drop;
    int count;
    struct door door;
    int64_t before; /* the reading before, 0 when there is none */
    bool before_stays;
};

static void end_run(struct thinning *t)
{
    t->before = 0;
    t->door = door_open(t->door.bound, t->door.longest_ms);
}

/* The row before is judged when this one is known. */
static void take_row(struct thinning *t, const struct reading *r)
{
    if (r->flag != FLAG_GOOD || isnan(r->value)) {
        end_run(t);
        return;
    }
    bool needed = door_pass(&t->door, r->t.ms, r->value);
    if (t->before != 0 && !needed && !t->before_stays && t->count < ROWS_MOST)
        t->drop[t->count++] = t->before;
    t->before_stays = t->before == 0; /* the first of a run */
    t->before = r->t.ms;
}

static bool drop_rows(struct store *store, int64_t probe, const struct thinning *t)
{
    sqlite3_stmt *s;
    bool ok = sqlite3_prepare_v2(store->db, "DELETE FROM reading WHERE probe = ? AND t_ms = ?", -1, &s,
                                 NULL) == SQLITE_OK;
    for (int i = 0; ok && i < t->count; i++) {
        sqlite3_bind_int64(s, 1, probe);
        sqlite3_bind_int64(s, 2, t->drop[i]);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return ok;
}

static bool is_near_an_alert(struct store *store, int64_t probe, int64_t day)
{
    char sql[256];
    snprintf(sql, sizeof sql,
             "SELECT count(*) FROM alert_change c JOIN probe p ON p.place = c.place WHERE p.id = %lld"
             " AND c.t_ms BETWEEN %lld AND %lld",
             (long long)probe, (long long)(day - STORE_ALERT_KEEP_MS),
             (long long)(day + MS_PER_DAY + STORE_ALERT_KEEP_MS));
    return schema_number(store->db, sql, 1) > 0;
}

static double bound_of(struct store *store, int64_t probe)
{
    for (int i = 0; i < store->site->stream_count; i++)
        if (store->probe_id[i] == probe)
            return store->site->store.thin_bound *
                   quantity_info(store->site->streams[i].quantity)->reading_sd;
    return 0; /* of a former configuration: left alone */
}

static bool thin_probe(struct store *store, int64_t probe, int64_t day)
{
    double bound = bound_of(store, probe);
    if (bound <= 0 || is_near_an_alert(store, probe, day))
        return true;
    struct thinning t = { .drop = malloc(ROWS_MOST * sizeof *t.drop) };
    sqlite3_stmt *s = store_statement(store, READ_SPAN);
    int code = SQLITE_ERROR;
    t.door = door_open(bound, (int64_t)(store->site->store.thin_longest_s * 1000));
    if (t.drop != NULL && s != NULL) {
        sqlite3_bind_int64(s, 1, probe);
        sqlite3_bind_int64(s, 2, day);
        sqlite3_bind_int64(s, 3, day + MS_PER_DAY);
        while ((code = sqlite3_step(s)) == SQLITE_ROW) {
            struct reading r = store_read_row(s, 0);
            take_row(&t, &r);
        }
        sqlite3_reset(s);
    }
    bool ok = code == SQLITE_DONE && drop_rows(store, probe, &t);
    free(t.drop);
    return ok;
}

static int64_t meta(struct store *store, const char *name, int64_t otherwise)
{
    char sql[96];
    snprintf(sql, sizeof sql, "SELECT value FROM meta WHERE name = '%s'", name);
    return schema_number(store->db, sql, otherwise);
}

int64_t store_thinned_to(struct store *store)
{
    return meta(store, "thinned_ms", 0);
}

/* The oldest day that has readings; the horizon when there are none before it. */
static int64_t first_day(struct store *store, int64_t horizon)
{
    int64_t oldest = schema_number(
        store->db, "SELECT min((SELECT min(t_ms) FROM reading r WHERE r.probe = p.id)) FROM probe p",
        horizon);
    return oldest < horizon ? floor_to(oldest, MS_PER_DAY) : horizon;
}

bool store_thin(struct store *store, int64_t horizon)
{
    int64_t day = store_thinned_to(store), last = meta(store, "thinned_probe", 0);
    char sql[96];
    if (horizon <= 0 || (day > 0 && day + MS_PER_DAY > horizon))
        return false;
    snprintf(sql, sizeof sql, "SELECT min(id) FROM probe WHERE id > %lld", (long long)last);
    int64_t probe = day > 0 ? schema_number(store->db, sql, 0) : 0;
    if (!store_begin(store, false))
        return store_end(store, false);
    bool ok;
    if (day == 0)
        ok = store_put_meta(store, "thinned_ms", first_day(store, horizon));
    else if (probe > 0)
        ok = thin_probe(store, probe, day) && store_put_meta(store, "thinned_probe", probe);
    else
        ok = store_put_meta(store, "thinned_ms", day + MS_PER_DAY) &&
             store_put_meta(store, "thinned_probe", 0);
    return store_end(store, ok);
}
