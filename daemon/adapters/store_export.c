#include "adapters/store_export.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#include "adapters/store_inside.h"
#include "model/quantity.h"

/* SQL reads better laid out by hand. */
/* clang-format off */
#define ISO(column)  "strftime('%Y-%m-%dT%H:%M:%fZ', " column " / 1000.0, 'unixepoch')"
#define SPAN(column) column " >= ?1 AND " column " < ?2"

#define ROLLUP(time, table)                                                                                  \
    "SELECT " time ", p.place, p.quantity, r.mean, r.lo, r.hi, p.unit, r.n, r.good, p.name AS probe"         \
    " FROM probe p JOIN " table " r ON r.probe = p.id"                                                       \
    " WHERE " SPAN("r.t_ms") " AND (?3 IS NULL OR p.place = ?3) AND (?4 IS NULL OR p.quantity = ?4)"         \
    " ORDER BY r.t_ms, p.place, p.quantity"

#define OF_VIEW(view, also)                                                                                  \
    "SELECT * FROM " view " WHERE time >= " ISO("?1") " AND time < " ISO("?2")                               \
    " AND (?3 IS NULL OR place = ?3) AND (?4 IS NULL OR " also ") ORDER BY time"

/* ?1 and ?2: the span in ms; ?3, ?4: place and quantity, NULL for all; ?5: a probe. */
static const struct {
    const char *name, *sql;
} queries[EXPORT_COUNT] = {
    [EXPORT_READINGS] = { "readings",
        "SELECT " ISO("s.t_ms") " AS time, p.place, p.quantity, p.unit, s.value, s.raw, s.flag, p.name AS probe,"
        " NULL AS uncertainty, NULL AS kit, NULL AS lot, NULL AS entry"
        " FROM " STORE_SPAN("?5", "?1", "?2") " s JOIN probe p ON p.id = ?5" },
    [EXPORT_QUARTER_HOURS] = { "quarter-hours", ROLLUP(ISO("r.t_ms") " AS time", "rollup_15min") },
    [EXPORT_DAYS] = { "days", ROLLUP("date(r.t_ms / 1000, 'unixepoch') AS day", "rollup_day") },
    [EXPORT_ALERTS] = { "alerts", OF_VIEW("alert_history", "1") },
    [EXPORT_EVENTS] = { "events", OF_VIEW("events", "quantity = ?4") },
    [EXPORT_NOTES] = { "notes", OF_VIEW("notes", "instr(figures, ?4 || ' ') > 0") },
};
/* clang-format on */

/* Readings that people made, in the columns of the probes'. */
static const char tests_sql[] = "SELECT " ISO(
    "j.at_ms") " AS time, j.place, i.name AS quantity, NULL AS unit, i.amount AS value, NULL AS raw,"
               " 1 AS flag, NULL AS probe, i.sd AS uncertainty, j.kit, j.lot, j.id AS entry FROM journal j"
               " JOIN journal_item i ON i.entry = j.id AND i.role = 'value'"
               " WHERE j.kind = 'test' AND j.superseded_by IS NULL AND j.withdrawn_ms IS NULL AND " SPAN(
                   "j.at_ms") " AND (?3 IS NULL OR j.place = ?3) AND (?4 IS NULL OR i.name = ?4) ORDER BY "
                              "j.place, i.name, j.at_ms, j.id";

const char *export_name(enum export_what what)
{
    return queries[what].name;
}

static struct export_cell cell_of(sqlite3_stmt *s, int i)
{
    switch (sqlite3_column_type(s, i)) {
    case SQLITE_INTEGER:
        return (struct export_cell){ EXPORT_WHOLE, sqlite3_column_int64(s, i), 0, NULL };
    case SQLITE_FLOAT:
        return (struct export_cell){ EXPORT_NUMBER, 0, sqlite3_column_double(s, i), NULL };
    case SQLITE_TEXT:
        return (struct export_cell){ EXPORT_TEXT, 0, 0, (const char *)sqlite3_column_text(s, i) };
    default:
        return (struct export_cell){ EXPORT_NULL, 0, 0, NULL };
    }
}

struct hand_out {
    void (*each)(void *context, const struct export_row *row);
    void *context;
    bool units; /* stand in: the journal holds none */
};

static struct export_cell unit_of(const struct export_cell *quantity)
{
    enum quantity q =
        quantity->kind != EXPORT_TEXT ? Q_COUNT : quantity_find(quantity->text, strlen(quantity->text));
    return q == Q_COUNT ? (struct export_cell){ .kind = EXPORT_NULL }
                        : (struct export_cell){ EXPORT_TEXT, 0, 0, quantity_info(q)->unit };
}

static bool hand_out_rows(sqlite3_stmt *s, const struct hand_out *to)
{
    struct export_row row = { .count = sqlite3_column_count(s) };
    int code;
    if (row.count > EXPORT_COLUMNS_MAX)
        row.count = EXPORT_COLUMNS_MAX;
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        for (int i = 0; i < row.count; i++) {
            row.names[i] = sqlite3_column_name(s, i);
            row.cells[i] = cell_of(s, i);
            if (row.cells[i].kind == EXPORT_NULL && to->units && strcmp(row.names[i], "unit") == 0)
                row.cells[i] = unit_of(&row.cells[i - 1]);
        }
        to->each(to->context, &row);
    }
    return code == SQLITE_DONE;
}

static void bind_or_null(sqlite3_stmt *s, int i, const char *text)
{
    if (text != NULL)
        sqlite3_bind_text(s, i, text, -1, SQLITE_TRANSIENT);
}

/* Probe by probe, as the settled readings lie. */
static bool export_probes(sqlite3 *db, sqlite3_stmt *readings, const char *place, const char *quantity,
                          const struct hand_out *to)
{
    sqlite3_stmt *probes;
    int code;
    bool ok = true;
    if (sqlite3_prepare_v2(db,
                           "SELECT id FROM probe WHERE (?1 IS NULL OR place = ?1) AND"
                           " (?2 IS NULL OR quantity = ?2) ORDER BY place, quantity, id",
                           -1, &probes, NULL) != SQLITE_OK)
        return false;
    bind_or_null(probes, 1, place);
    bind_or_null(probes, 2, quantity);
    while (ok && (code = sqlite3_step(probes)) == SQLITE_ROW) {
        sqlite3_reset(readings);
        sqlite3_bind_int64(readings, 5, sqlite3_column_int64(probes, 0));
        ok = hand_out_rows(readings, to);
    }
    sqlite3_finalize(probes);
    return ok && code == SQLITE_DONE;
}

static bool export_tests(sqlite3 *db, const char *place, const char *quantity, utc_t from, utc_t to,
                         const struct hand_out *out)
{
    struct hand_out with_units = { out->each, out->context, true };
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(db, tests_sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, from.ms);
    sqlite3_bind_int64(s, 2, to.ms);
    bind_or_null(s, 3, place);
    bind_or_null(s, 4, quantity);
    bool ok = hand_out_rows(s, &with_units);
    sqlite3_finalize(s);
    return ok;
}

enum status store_reader_export(struct store_reader *reader, enum export_what what, const char *place,
                                const char *quantity, utc_t from, utc_t to,
                                void (*each)(void *context, const struct export_row *row), void *context)
{
    const struct hand_out out = { each, context, false };
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(reader->db, queries[what].sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_int64(s, 1, from.ms);
    sqlite3_bind_int64(s, 2, to.ms);
    bool ok;
    if (what == EXPORT_READINGS) {
        ok = export_probes(reader->db, s, place, quantity, &out) &&
             export_tests(reader->db, place, quantity, from, to, &out);
    } else {
        bind_or_null(s, 3, place);
        bind_or_null(s, 4, quantity);
        ok = hand_out_rows(s, &out);
    }
    sqlite3_finalize(s);
    return ok ? STATUS_OK : STATUS_IO;
}
