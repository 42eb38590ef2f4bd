#include "adapters/store_query.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/store_calibration.h"
#include "adapters/store_inside.h"
#include "adapters/store_schema.h"
#include "adapters/store_tests.h"

/* A reader is used by one thread: a lock for each column of each row would take a tenth of its time. */
#define READ_ALONE (SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX)

/* A store that was closed cleanly, in a folder that we may not write: SQLite needs to be told that nobody
 * writes. */
static int open_at_rest(const char *path, sqlite3 **db)
{
    char wal[520], uri[600];
    snprintf(wal, sizeof wal, "%s-wal", path);
    if (access(wal, F_OK) == 0 || strpbrk(path, "?#%") != NULL)
        return SQLITE_CANTOPEN;
    snprintf(uri, sizeof uri, "file:%s?immutable=1", path);
    return sqlite3_open_v2(uri, db, READ_ALONE | SQLITE_OPEN_URI, NULL);
}

static enum status look(struct store_reader *reader, struct why *why)
{
    const char *path = reader->path;
    if (schema_number(reader->db, "SELECT count(*) FROM sqlite_master", -1) < 0) {
        sqlite3_close(reader->db);
        reader->db = NULL;
        if (open_at_rest(path, &reader->db) != SQLITE_OK ||
            schema_number(reader->db, "SELECT count(*) FROM sqlite_master", -1) < 0)
            return why_say(why, STATUS_IO,
                           "store %s cannot be read: is it a store, and may you read it and its folder?",
                           path);
    }
    if (schema_number(reader->db, "PRAGMA application_id", 0) != STORE_APPLICATION_ID)
        return why_say(why, STATUS_REFUSED, "%s is not a store of this program", path);
    int newest = schema_steps[schema_step_count - 1].version;
    int64_t version = schema_number(reader->db, "PRAGMA user_version", 0);
    if (version != newest)
        return why_say(why, STATUS_REFUSED, "store %s has version %d, this program reads version %d: %s",
                       path, (int)version, newest,
                       version > newest ? "install the newer program"
                                        : "start the daemon once to bring it up");
    return STATUS_OK;
}

enum status store_reader_open(const char *path, struct store_reader **out, struct why *why)
{
    struct store_reader *reader = calloc(1, sizeof *reader);
    *out = NULL;
    if (reader == NULL)
        return why_say(why, STATUS_IO, "no memory");
    snprintf(reader->path, sizeof reader->path, "%s", path);
    enum status st = STATUS_IO;
    if (access(path, F_OK) != 0)
        why_say(why, st, "there is no store at %s yet: has the daemon run with this configuration?", path);
    else if (sqlite3_open_v2(path, &reader->db, READ_ALONE, NULL) != SQLITE_OK)
        why_say(why, st, "store %s cannot be opened: may you read it?", path);
    else
        st = look(reader, why);
    if (st != STATUS_OK) {
        store_reader_close(reader);
        return st;
    }
    sqlite3_busy_timeout(reader->db, 2000);
    *out = reader;
    return STATUS_OK;
}

struct sqlite3 *store_reader_db(struct store_reader *reader)
{
    return reader->db;
}

void store_reader_close(struct store_reader *reader)
{
    if (reader == NULL)
        return;
    sqlite3_close(reader->db);
    free(reader);
}

/* Gathers what falls into equal spans of time; the sums stand in the points themselves. */
struct gather {
    struct history_point *points;
    int max;
    int64_t from, to;
    int *used;
    int *tested; /* hand tests in it */
};

static int span_of(const struct gather *g, int64_t t)
{
    return (int)((double)(t - g->from) / (double)(g->to - g->from) * g->max);
}

struct piece {
    int64_t t;
    int n, used, good;
    double mean, lo, hi;
    enum flag flag;
};

static void gather_add(struct gather *g, const struct piece *p)
{
    /* A quarter hour that began before the span reaches into it. */
    int i = p->t < g->from ? 0 : span_of(g, p->t);
    if (i >= g->max || p->n == 0)
        return;
    struct history_point *point = &g->points[i];
    if (point->n == 0 || p->t < point->t.ms)
        point->t.ms = p->t;
    point->n += p->n;
    point->good += p->good;
    if (p->flag > point->flag)
        point->flag = p->flag;
    if (p->used == 0)
        return;
    point->value += p->used * p->mean;
    point->lo = fmin(point->lo, p->lo);
    point->hi = fmax(point->hi, p->hi);
    g->used[i] += p->used;
}

static enum flag share_flag(int n, int used, int good)
{
    if (good == n)
        return FLAG_GOOD;
    return used > 0 ? FLAG_SUSPECT : FLAG_FAIL;
}

static bool gather_rollup(struct store_reader *reader, struct gather *g, const char *table, int64_t probe,
                          int64_t from, int64_t to)
{
    char sql[192];
    sqlite3_stmt *s;
    int code;
    if (from >= to)
        return true;
    snprintf(sql, sizeof sql,
             "SELECT t_ms, n, used, good, mean, lo, hi FROM %s WHERE probe = ? AND t_ms >= ? AND t_ms < ?",
             table);
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, probe);
    sqlite3_bind_int64(s, 2, from);
    sqlite3_bind_int64(s, 3, to);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct piece p = { .t = sqlite3_column_int64(s, 0),
                           .n = sqlite3_column_int(s, 1),
                           .used = sqlite3_column_int(s, 2),
                           .good = sqlite3_column_int(s, 3),
                           .mean = sqlite3_column_double(s, 4),
                           .lo = sqlite3_column_double(s, 5),
                           .hi = sqlite3_column_double(s, 6) };
        p.flag = share_flag(p.n, p.used, p.good);
        gather_add(g, &p);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE;
}

/* Readings of one probe in order of time: settled ones, then recent ones. */
static sqlite3_stmt *readings_of(struct store_reader *reader, int64_t probe, int64_t from, int64_t to)
{
    static const char sql[] =
        "SELECT t_ms, raw, value, flag, tests, marks FROM " STORE_SPAN("?1", "?2", "?3");
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return NULL;
    sqlite3_bind_int64(s, 1, probe);
    sqlite3_bind_int64(s, 2, from);
    sqlite3_bind_int64(s, 3, to);
    return s;
}

static bool gather_readings(struct store_reader *reader, struct gather *g, int64_t probe, int64_t from,
                            int64_t to)
{
    if (from >= to)
        return true;
    sqlite3_stmt *s = readings_of(reader, probe, from, to);
    int code = SQLITE_ERROR;
    while (s != NULL && (code = sqlite3_step(s)) == SQLITE_ROW) {
        struct reading r = store_read_row(s, 0);
        bool used = !isnan(r.value) && verdict_usable_for_limits(r.tests, r.flag == FLAG_MISSING);
        struct piece p = { r.t.ms, 1, used, r.flag == FLAG_GOOD, r.value, r.value, r.value, r.flag };
        gather_add(g, &p);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE;
}

/* The coarsest source that still fills the spans; readings where no rollup reaches yet, rollups where the
 * readings have gone. */
static bool gather_probe(struct store_reader *reader, struct gather *g, int64_t probe, int64_t rolled,
                         int64_t purged)
{
    int64_t width = (g->to - g->from) / g->max;
    int64_t quarter_to = width >= ROLLUP_MS ? rolled : purged;
    int64_t quarter_from = g->from;
    bool ok = true;
    if (quarter_to > g->to)
        quarter_to = g->to;
    if (width >= MS_PER_DAY) {
        quarter_from = floor_to(quarter_to, MS_PER_DAY);
        ok = gather_rollup(reader, g, "rollup_day", probe, floor_to(g->from, MS_PER_DAY), quarter_from);
    }
    if (quarter_to <= g->from)
        return ok && gather_readings(reader, g, probe, g->from, g->to);
    return ok &&
           gather_rollup(reader, g, "rollup_15min", probe, floor_to(quarter_from, ROLLUP_MS), quarter_to) &&
           gather_readings(reader, g, probe, quarter_to, g->to);
}

static sqlite3_stmt *probes_of(struct store_reader *reader, const char *place, const char *quantity)
{
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(reader->db,
                           "SELECT id, rolled_ms, coalesce((SELECT value FROM meta WHERE name = "
                           "'purged_ms'), 0), name FROM probe WHERE place = ? AND quantity = ?"
                           " ORDER BY id",
                           -1, &s, NULL) != SQLITE_OK)
        return NULL;
    sqlite3_bind_text(s, 1, place, -1, SQLITE_TRANSIENT);
    sqlite3_bind_text(s, 2, quantity, -1, SQLITE_TRANSIENT);
    return s;
}

/* A hand test stands where no probe spoke. */
static void gather_test(void *context, const struct test_row *row)
{
    struct gather *g = context;
    int i = span_of(g, row->t.ms);
    if (i >= g->max || g->points[i].n > g->tested[i])
        return;
    struct piece p = { row->t.ms, 1, 1, 1, row->value, row->value, row->value, FLAG_GOOD };
    gather_add(g, &p);
    g->tested[i]++;
}

/* Sums to means, empty spans out. */
static int finish(struct gather *g)
{
    int count = 0;
    for (int i = 0; i < g->max; i++) {
        struct history_point p = g->points[i];
        if (p.n == 0)
            continue;
        p.tested = g->tested[i] > 0;
        p.value = g->used[i] > 0 ? p.value / g->used[i] : (double)NAN;
        if (p.n > 1)
            p.t.ms = g->from + (int64_t)((double)(g->to - g->from) / g->max * i);
        g->points[count++] = p;
    }
    return count;
}

enum status store_reader_history(struct store_reader *reader, const char *place, const char *quantity,
                                 utc_t from, utc_t to, struct history_point *points, int max_points,
                                 int *count)
{
    *count = 0;
    if (max_points <= 0 || from.ms >= to.ms)
        return STATUS_INVALID;
    struct gather g = { points,
                        max_points,
                        from.ms,
                        to.ms,
                        calloc((size_t)max_points, sizeof(int)),
                        calloc((size_t)max_points, sizeof(int)) };
    for (int i = 0; i < max_points; i++)
        points[i] = (struct history_point){ .lo = NAN, .hi = NAN };
    sqlite3_stmt *s = probes_of(reader, place, quantity);
    bool ok = s != NULL && g.used != NULL && g.tested != NULL;
    int code = ok ? SQLITE_ROW : SQLITE_ERROR;
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW)
        ok = gather_probe(reader, &g, sqlite3_column_int64(s, 0), sqlite3_column_int64(s, 1),
                          sqlite3_column_int64(s, 2));
    sqlite3_finalize(s);
    ok = ok && store_reader_tests(reader, place, quantity, from, to, gather_test, &g) == STATUS_OK;
    if (ok)
        *count = finish(&g);
    free(g.used);
    free(g.tested);
    return ok && code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

enum status store_reader_readings(struct store_reader *reader, const char *place, const char *quantity,
                                  utc_t from, utc_t to,
                                  void (*each)(void *context, const struct reading *r, const char *probe),
                                  void *context)
{
    sqlite3_stmt *probes = probes_of(reader, place, quantity);
    int code = probes != NULL ? SQLITE_ROW : SQLITE_ERROR, inner = SQLITE_DONE;
    while (inner == SQLITE_DONE && code == SQLITE_ROW && (code = sqlite3_step(probes)) == SQLITE_ROW) {
        sqlite3_stmt *s = readings_of(reader, sqlite3_column_int64(probes, 0), from.ms, to.ms);
        inner = SQLITE_ERROR;
        while (s != NULL && (inner = sqlite3_step(s)) == SQLITE_ROW) {
            struct reading r = store_read_row(s, 0);
            each(context, &r, (const char *)sqlite3_column_text(probes, 3));
        }
        sqlite3_finalize(s);
    }
    sqlite3_finalize(probes);
    return code == SQLITE_DONE && inner == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

enum status store_reader_series(struct store_reader *reader,
                                void (*each)(void *context, const struct series_row *row), void *context)
{
    static const char sql[] =
        "WITH now_of AS MATERIALIZED (SELECT probe, min(t_ms) AS lo, max(t_ms) AS hi FROM recent GROUP BY "
        "probe), rolled(ms) AS MATERIALIZED (SELECT max(rolled_ms) FROM probe)"
        " SELECT place, quantity, max(unit), min(lo), max(hi) FROM ("
        "SELECT p.place AS place, p.quantity AS quantity, p.unit AS unit,"
        " min(coalesce((SELECT min(t_ms) FROM rollup_15min r WHERE r.probe = p.id),"
        " (SELECT min(t_ms) FROM " STORE_SPAN(
            "p.id", "(SELECT ms FROM rolled)",
            "9e15") "), now_of.lo)) AS lo,"
                    " max(coalesce(now_of.hi, (SELECT max(t_ms) FROM " STORE_SPAN(
                        "p.id", "(SELECT ms FROM rolled)",
                        "9e15") "),"
                                " (SELECT max(t_ms) FROM rollup_15min r WHERE r.probe = p.id))) AS hi"
                                " FROM probe p LEFT JOIN now_of ON now_of.probe = p.id"
                                " GROUP BY p.place, p.quantity"
                                " UNION ALL SELECT j.place, i.name, '', min(j.at_ms), max(j.at_ms) FROM "
                                "journal j"
                                " JOIN journal_item i ON i.entry = j.id AND i.role = 'value' WHERE j.kind = "
                                "'test'"
                                " AND j.superseded_by IS NULL AND j.withdrawn_ms IS NULL AND j.place IS NOT "
                                "NULL"
                                " GROUP BY j.place, i.name) GROUP BY place, quantity ORDER BY place, "
                                "quantity";
    sqlite3_stmt *s;
    int code;
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct series_row row;
        store_take_text(s, 0, row.place, sizeof row.place);
        store_take_text(s, 1, row.quantity, sizeof row.quantity);
        store_take_text(s, 2, row.unit, sizeof row.unit);
        row.first = store_take_utc(s, 3);
        row.last = store_take_utc(s, 4);
        each(context, &row);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

enum status store_reader_calibrations(struct store_reader *reader, const char *place, const char *quantity,
                                      void (*each)(void *context, const struct calibration_row *row),
                                      void *context)
{
    static const char sql[] = "SELECT p.name, c.undone, " STORE_CALIBRATION_COLUMNS
                              " FROM calibration c JOIN probe p ON p.id = c.probe"
                              " WHERE p.place = ? AND p.quantity = ? ORDER BY c.since_ms, c.id";
    sqlite3_stmt *s;
    int code;
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_text(s, 1, place, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, 2, quantity, -1, SQLITE_STATIC);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct calibration_row row = { .calib = store_calibration_row(s, 2),
                                       .undone = sqlite3_column_int(s, 1) != 0 };
        store_take_text(s, 0, row.probe, sizeof row.probe);
        each(context, &row);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

static void take_change(sqlite3_stmt *s, struct alert_row *row)
{
    row->t = store_take_utc(s, 0);
    store_take_text(s, 1, row->place, sizeof row->place);
    store_take_text(s, 2, row->kind, sizeof row->kind);
    store_take_text(s, 3, row->change, sizeof row->change);
    store_take_text(s, 4, row->state, sizeof row->state);
    store_take_text(s, 5, row->priority, sizeof row->priority);
    row->value = store_take_number(s, 6);
    row->limit = store_take_number(s, 7);
    store_take_text(s, 8, row->unit, sizeof row->unit);
    store_take_text(s, 9, row->cause, sizeof row->cause);
    store_take_text(s, 10, row->evidence, sizeof row->evidence);
    store_take_text(s, 11, row->action, sizeof row->action);
    store_take_text(s, 12, row->who, sizeof row->who);
    store_take_text(s, 13, row->why, sizeof row->why);
    row->announced = sqlite3_column_int(s, 14) != 0;
}

enum status store_reader_alert_changes(struct store_reader *reader, utc_t from, utc_t to,
                                       void (*each)(void *context, const struct alert_row *row),
                                       void *context)
{
    static const char sql[] =
        "SELECT t_ms, place, kind, change, state, priority, value, limit_value, unit, cause,"
        " evidence, action, who, why, announced FROM alert_change WHERE t_ms >= ? AND t_ms < ?"
        " ORDER BY t_ms, id";
    sqlite3_stmt *s;
    int code;
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_int64(s, 1, from.ms);
    sqlite3_bind_int64(s, 2, to.ms);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct alert_row row;
        take_change(s, &row);
        each(context, &row);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

enum status store_reader_events(struct store_reader *reader, const char *kind, utc_t from, utc_t to,
                                void (*each)(void *context, const struct event_row *row), void *context)
{
    static const char sql[] = "SELECT t_ms, place, quantity, value, text FROM event"
                              " WHERE kind = ? AND t_ms >= ? AND t_ms < ? ORDER BY t_ms, id";
    sqlite3_stmt *s;
    int code;
    if (sqlite3_prepare_v2(reader->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_text(s, 1, kind, -1, SQLITE_STATIC);
    sqlite3_bind_int64(s, 2, from.ms);
    sqlite3_bind_int64(s, 3, to.ms);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct event_row row = { .t = { sqlite3_column_int64(s, 0) }, .value = store_take_number(s, 3) };
        store_take_text(s, 1, row.place, sizeof row.place);
        store_take_text(s, 2, row.quantity, sizeof row.quantity);
        store_take_text(s, 4, row.text, sizeof row.text);
        each(context, &row);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}
