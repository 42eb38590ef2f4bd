/* Calibrations, dated, and their application to what is stored. */
#include "adapters/store_calibration.h"

#include <math.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_inside.h"

#define PIECE_ROWS   2048
#define TEMP_AGE_MS  (2 * MS_PER_HOUR)
#define SPAN_MOST_MS (31 * MS_PER_DAY)

enum status store_put_calibration(struct store *store, int stream, const struct calib *c)
{
    sqlite3_stmt *s = NULL;
    static const char sql[] =
        "INSERT OR REPLACE INTO calibration(id, since_ms, probe, kind, gain, offset, offset_mv, slope_acid,"
        " slope_base, pivot_ph, residual) VALUES((SELECT id FROM calibration WHERE probe = ?2 AND since_ms = "
        "?1),"
        "?1,?2,?3,?4,?5,?6,?7,?8,?9,?10)";
    bool ok = store_begin(store, true) && sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, utc_is_set(c->since) ? c->since.ms : 0);
        sqlite3_bind_int64(s, 2, store_probe(store, stream));
        sqlite3_bind_text(s, 3, c->kind == CALIB_ELECTRODE ? "electrode" : "linear", -1, SQLITE_STATIC);
        sqlite3_bind_double(s, 4, c->gain);
        sqlite3_bind_double(s, 5, c->offset);
        sqlite3_bind_double(s, 6, c->offset_mv);
        sqlite3_bind_double(s, 7, c->slope_fraction[0]);
        sqlite3_bind_double(s, 8, c->slope_fraction[1]);
        sqlite3_bind_double(s, 9, c->pivot_ph);
        sqlite3_bind_double(s, 10, c->residual);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

enum status store_undo_calibration(struct store *store, int stream)
{
    sqlite3_stmt *s = NULL;
    static const char sql[] = "UPDATE calibration SET undone = 1 WHERE id = (SELECT id FROM calibration"
                              " WHERE probe = ? AND NOT undone ORDER BY since_ms DESC, id DESC LIMIT 1)";
    int changed = 0;
    bool ok = store_begin(store, true) && sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, store_probe(store, stream));
        ok = store_step(s);
        changed = sqlite3_changes(store->db);
    }
    sqlite3_finalize(s);
    if (!store_end(store, ok))
        return STATUS_IO;
    return changed > 0 ? STATUS_OK : STATUS_NONE;
}

struct calib store_calibration_row(struct sqlite3_stmt *s, int first)
{
    const char *kind = (const char *)sqlite3_column_text(s, first + 1);
    int64_t since = sqlite3_column_int64(s, first);
    return (struct calib){
        .kind = kind != NULL && strcmp(kind, "electrode") == 0 ? CALIB_ELECTRODE : CALIB_LINEAR,
        .gain = store_take_number(s, first + 2),
        .offset = store_take_number(s, first + 3),
        .offset_mv = store_take_number(s, first + 4),
        .slope_fraction = { store_take_number(s, first + 5), store_take_number(s, first + 6) },
        .pivot_ph = store_take_number(s, first + 7),
        .residual = store_take_number(s, first + 8),
        .since = since == 0 ? UTC_NONE : (utc_t){ since }
    };
}

enum status store_each_calibration(struct store *store,
                                   void (*each)(void *context, int stream, const struct calib *c),
                                   void *context)
{
    static const char sql[] =
        "SELECT probe, " STORE_CALIBRATION_COLUMNS " FROM calibration WHERE NOT undone ORDER BY since_ms, id";
    sqlite3_stmt *s;
    int code;
    if (store->db == NULL || sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        struct calib c = store_calibration_row(s, 1);
        for (int i = 0; i < store->site->stream_count; i++)
            if (store->probe_id[i] == sqlite3_column_int64(s, 0))
                each(context, i, &c);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}

/* --- backwards --- */

/* The stored temperatures of the water, walked beside the readings in order of time. */
struct temps {
    sqlite3_stmt *stmt; /* NULL: no such probe */
    int64_t at_ms, next_ms;
    double at, next;
};

static void temps_step(struct temps *t)
{
    t->at_ms = t->next_ms;
    t->at = t->next;
    t->next_ms = INT64_MAX;
    if (t->stmt != NULL && sqlite3_step(t->stmt) == SQLITE_ROW) {
        t->next_ms = sqlite3_column_int64(t->stmt, 0);
        t->next = sqlite3_column_double(t->stmt, 1);
    }
}

static double temps_at(struct temps *t, int64_t t_ms)
{
    while (t->next_ms <= t_ms)
        temps_step(t);
    return t->at_ms == INT64_MIN || t_ms - t->at_ms > TEMP_AGE_MS ? (double)NAN : t->at;
}

static struct temps temps_of(struct store *store, int stream, utc_t from, utc_t to)
{
    static const char sql[] = "SELECT t_ms, value FROM " STORE_SPAN(
        "?1", "?2", "?3") " WHERE value IS NOT NULL AND flag IN (1, 2, 3) ORDER BY t_ms";
    struct temps t = { NULL, INT64_MIN, INT64_MIN, NAN, NAN };
    int temp_stream = store->site->streams[stream].temp_stream;
    if (temp_stream >= 0 && sqlite3_prepare_v2(store->db, sql, -1, &t.stmt, NULL) == SQLITE_OK) {
        sqlite3_bind_int64(t.stmt, 1, store_probe(store, temp_stream));
        sqlite3_bind_int64(t.stmt, 2, from.ms - TEMP_AGE_MS);
        sqlite3_bind_int64(t.stmt, 3, to.ms + 1);
    }
    temps_step(&t);
    t.at_ms = INT64_MIN;
    return t;
}

/* All rows of the span are read before one is written: the table must not move under the cursor. */
static bool read_span(struct store *store, int stream, utc_t from, utc_t to, struct reading **rows,
                      size_t *count)
{
    static const char sql[] =
        "SELECT t_ms, raw, value, flag, tests, marks FROM " STORE_SPAN("?1", "?2", "?3") " ORDER BY t_ms";
    sqlite3_stmt *s;
    size_t cap = 0;
    int code = SQLITE_NOMEM;
    *rows = NULL;
    *count = 0;
    if (sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, store_probe(store, stream));
    sqlite3_bind_int64(s, 2, from.ms);
    sqlite3_bind_int64(s, 3, to.ms);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        if (*count == cap) {
            cap = cap == 0 ? PIECE_ROWS : 2 * cap;
            struct reading *more = realloc(*rows, cap * sizeof *more);
            if (more == NULL)
                break;
            *rows = more;
        }
        (*rows)[*count] = store_read_row(s, 0);
        (*rows)[*count].stream = stream;
        (*rows)[(*count)++].revised = true;
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE;
}

enum status store_recompute(struct store *store, int stream, utc_t from, utc_t to,
                            double (*value_of)(void *context, double sent, double temp_c), void *context,
                            int64_t *changed)
{
    struct reading *rows = NULL;
    size_t count = 0;
    *changed = 0;
    if (to.ms - from.ms > SPAN_MOST_MS)
        from.ms = to.ms - SPAN_MOST_MS;
    if (!store_begin(store, true))
        return store_end(store, false) ? STATUS_OK : STATUS_IO;
    bool ok = read_span(store, stream, from, to, &rows, &count);
    struct temps temps = temps_of(store, stream, from, to);
    for (size_t i = 0; ok && i < count; i++) {
        if (isnan(rows[i].sent))
            continue;
        rows[i].value = value_of(context, rows[i].sent, temps_at(&temps, rows[i].t.ms));
        ok = store_write_reading(store, &rows[i]);
        ++*changed;
    }
    sqlite3_finalize(temps.stmt);
    free(rows);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}
