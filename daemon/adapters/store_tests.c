#include "adapters/store_tests.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>

#include "adapters/store_inside.h"

static void read_row(sqlite3_stmt *s, struct test_row *row)
{
    row->entry = sqlite3_column_int64(s, 0);
    row->t = (utc_t){ sqlite3_column_int64(s, 1) };
    row->value = sqlite3_column_double(s, 2);
    row->sd = store_take_number(s, 3);
    store_take_text(s, 4, row->kit, sizeof row->kit);
    store_take_text(s, 5, row->lot, sizeof row->lot);
    store_take_text(s, 6, row->who, sizeof row->who);
}

enum status store_reader_tests(struct store_reader *reader, const char *place, const char *quantity,
                               utc_t from, utc_t to, void (*each)(void *context, const struct test_row *row),
                               void *context)
{
    static const char sql[] =
        "SELECT j.id, j.at_ms, i.amount, i.sd, j.kit, j.lot, j.who FROM journal j"
        " JOIN journal_item i ON i.entry = j.id AND i.role = 'value' AND i.name = ?2"
        " WHERE j.kind = 'test' AND j.superseded_by IS NULL AND j.withdrawn_ms IS NULL AND j.place = ?1"
        " AND j.at_ms >= ?3 AND j.at_ms < ?4 ORDER BY j.at_ms, j.id";
    sqlite3_stmt *s;
    struct test_row row;
    int code;
    if (sqlite3_prepare_v2(store_reader_db(reader), sql, -1, &s, NULL) != SQLITE_OK)
        return STATUS_IO;
    sqlite3_bind_text(s, 1, place, -1, SQLITE_STATIC);
    sqlite3_bind_text(s, 2, quantity, -1, SQLITE_STATIC);
    sqlite3_bind_int64(s, 3, from.ms);
    sqlite3_bind_int64(s, 4, to.ms);
    while ((code = sqlite3_step(s)) == SQLITE_ROW) {
        read_row(s, &row);
        each(context, &row);
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}
