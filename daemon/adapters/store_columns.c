/* Values into statements and out of their rows: what SQL calls NULL is empty, unset or not a number here. */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>

#include "adapters/store_inside.h"

void store_bind_text(struct sqlite3_stmt *stmt, int i, const char *s)
{
    if (s == NULL || s[0] == 0)
        sqlite3_bind_null(stmt, i);
    else
        sqlite3_bind_text(stmt, i, s, -1, SQLITE_STATIC);
}

void store_bind_utc(struct sqlite3_stmt *stmt, int i, utc_t t)
{
    if (utc_is_set(t))
        sqlite3_bind_int64(stmt, i, t.ms);
    else
        sqlite3_bind_null(stmt, i);
}

void store_take_text(struct sqlite3_stmt *stmt, int i, char *buf, size_t cap)
{
    const char *text = (const char *)sqlite3_column_text(stmt, i);
    snprintf(buf, cap, "%s", text != NULL ? text : "");
}

utc_t store_take_utc(struct sqlite3_stmt *stmt, int i)
{
    return sqlite3_column_type(stmt, i) == SQLITE_NULL ? UTC_NONE : (utc_t){ sqlite3_column_int64(stmt, i) };
}

double store_take_number(struct sqlite3_stmt *stmt, int i)
{
    return sqlite3_column_type(stmt, i) == SQLITE_NULL ? (double)NAN : sqlite3_column_double(stmt, i);
}
