/* Old raw readings, thinned: a day at a time, some probes a piece, so that a straight line between those that
 * stay is nowhere further off than store.thin_bound allows. What was not good stays, and so does a whole day
 * near an alert of the place. Rollups were made of all of them before. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"
#include "base/door.h"

#define DROPS_MOST 200000 /* of a group in a day: more are left as they are */
#define GROUP      8      /* probes whose rows share pages go together: each page is written once for them */

struct thinning {
    double bound; /* 0: left alone */
    struct door door;
    int64_t before; /* key of the reading before, 0 when there is none */
    bool before_stays;
};

struct group {
    int64_t first, last; /* probes */
    struct thinning of[GROUP];
    int64_t *drop; /* keys */
    int count;
};

static void end_run(struct thinning *t)
{
    t->before = 0;
    t->door = door_open(t->door.bound, t->door.longest_ms);
}

/* The row before is judged when this one is known. */
static void take_row(struct group *g, struct thinning *t, int64_t key, const struct reading *r)
{
    if (r->flag != FLAG_GOOD || isnan(r->value)) {
        end_run(t);
        return;
    }
    bool needed = door_pass(&t->door, r->t.ms, r->value);
    if (t->before != 0 && !needed && !t->before_stays && g->count < DROPS_MOST)
        g->drop[g->count++] = t->before;
    t->before_stays = t->before == 0; /* the first of a run */
    t->before = key;
}

static bool drop_rows(struct store *store, const struct group *g)
{
    sqlite3_stmt *s = store_statement(store, DROP_READING);
    bool ok = s != NULL;
    for (int i = 0; ok && i < g->count; i++) {
        sqlite3_bind_int64(s, 1, g->drop[i]);
        ok = store_step(s);
    }
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

/* 0: of a former configuration, or near an alert. */
static double bound_of(struct store *store, int64_t probe, int64_t day)
{
    for (int i = 0; i < store->site->stream_count; i++)
        if (store->probe_id[i] == probe && !is_near_an_alert(store, probe, day))
            return store->site->store.thin_bound *
                   quantity_info(store->site->streams[i].quantity)->reading_sd;
    return 0;
}

/* In the order of their keys, so that the rows of all of the group come stretch by stretch. */
static bool look_through(struct store *store, struct group *g, int64_t day)
{
    sqlite3_stmt *s = store_statement(store, READ_GROUP);
    int code;
    if (s == NULL)
        return false;
    sqlite3_bind_int64(s, 1, g->first);
    sqlite3_bind_int64(s, 2, day);
    sqlite3_bind_int64(s, 3, day + MS_PER_DAY);
    sqlite3_bind_int64(s, 4, g->last);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct thinning *t = &g->of[sqlite3_column_int64(s, 1) - g->first];
        struct reading r = store_read_row(s, 2);
        if (t->bound > 0)
            take_row(g, t, sqlite3_column_int64(s, 0), &r);
    }
    sqlite3_reset(s);
    return code == SQLITE_DONE;
}

static bool thin_group(struct store *store, int64_t first, int64_t day)
{
    struct group g = { .first = first, .last = first + GROUP - 1 };
    for (int i = 0; i < GROUP; i++) {
        g.of[i].bound = bound_of(store, first + i, day);
        g.of[i].door = door_open(g.of[i].bound, (int64_t)(store->site->store.thin_longest_s * 1000));
    }
    g.drop = malloc(DROPS_MOST * sizeof *g.drop);
    bool ok = g.drop != NULL && look_through(store, &g, day) && drop_rows(store, &g);
    free(g.drop);
    return ok;
}

int64_t store_thinned_to(struct store *store)
{
    return store_meta(store, "thinned_ms", 0);
}

/* The oldest day that has readings; the horizon when there are none before it. */
static int64_t first_day(struct store *store, int64_t horizon)
{
    int64_t oldest =
        schema_number(store->db, "SELECT (min(key) >> 37 << 20) + 1577836800000 FROM reading", horizon);
    return oldest < horizon ? floor_to(oldest, MS_PER_DAY) : horizon;
}

bool store_thin(struct store *store, int64_t horizon)
{
    int64_t day = store_thinned_to(store), last = store_meta(store, "thinned_probe", 0);
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
        ok = thin_group(store, probe, day) && store_put_meta(store, "thinned_probe", probe + GROUP - 1);
    else
        ok = store_put_meta(store, "thinned_ms", day + MS_PER_DAY) &&
             store_put_meta(store, "thinned_probe", 0);
    return store_end(store, ok);
}
