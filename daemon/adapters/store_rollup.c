/* Quarter hours from readings, days from quarter hours. */
#include <math.h>
#include <sqlite3.h>

#include "adapters/store_inside.h"

struct rollup {
    int64_t t_ms;
    int n, used, good;
    double lo, hi, sum, first, last;
};

static bool put_rollup(struct store *store, enum statement which, int64_t probe, const struct rollup *u)
{
    sqlite3_stmt *s = store_statement(store, which);
    if (s == NULL)
        return false;
    sqlite3_bind_int64(s, 1, probe);
    sqlite3_bind_int64(s, 2, u->t_ms);
    sqlite3_bind_int(s, 3, u->n);
    sqlite3_bind_int(s, 4, u->used);
    sqlite3_bind_int(s, 5, u->good);
    sqlite3_bind_double(s, 6, u->lo);
    sqlite3_bind_double(s, 7, u->hi);
    sqlite3_bind_double(s, 8, u->used > 0 ? u->sum / u->used : (double)NAN);
    sqlite3_bind_double(s, 9, u->first);
    sqlite3_bind_double(s, 10, u->last);
    return store_step(s);
}

static struct rollup rollup_at(int64_t t_ms)
{
    return (struct rollup){ .t_ms = t_ms, .lo = NAN, .hi = NAN, .first = NAN, .last = NAN };
}

static void add_reading(struct rollup *u, const struct reading *r)
{
    u->n++;
    u->good += r->flag == FLAG_GOOD;
    if (isnan(r->value) || !verdict_usable_for_limits(r->tests, r->flag == FLAG_MISSING))
        return;
    if (u->used++ == 0) {
        u->lo = u->hi = u->first = r->value;
    }
    u->lo = fmin(u->lo, r->value);
    u->hi = fmax(u->hi, r->value);
    u->sum += r->value;
    u->last = r->value;
}

bool store_roll_span(struct store *store, int64_t probe, int64_t from_ms, int64_t to_ms)
{
    sqlite3_stmt *s = store_statement(store, READ_SPAN);
    struct rollup u = rollup_at(INT64_MIN);
    bool ok = s != NULL;
    int code = SQLITE_DONE;
    if (!ok)
        return false;
    sqlite3_bind_int64(s, 1, probe);
    sqlite3_bind_int64(s, 2, from_ms);
    sqlite3_bind_int64(s, 3, to_ms);
    while (ok && (code = sqlite3_step(s)) == SQLITE_ROW) {
        struct reading r = store_read_row(s, 0);
        int64_t bin = floor_to(r.t.ms, ROLLUP_MS);
        if (bin != u.t_ms) {
            ok = u.n == 0 || put_rollup(store, PUT_ROLLUP, probe, &u);
            u = rollup_at(bin);
        }
        add_reading(&u, &r);
    }
    sqlite3_reset(s);
    return ok && code == SQLITE_DONE && (u.n == 0 || put_rollup(store, PUT_ROLLUP, probe, &u));
}

static void add_quarter(struct rollup *u, sqlite3_stmt *s)
{
    int used = sqlite3_column_int(s, 1);
    u->n += sqlite3_column_int(s, 0);
    u->good += sqlite3_column_int(s, 2);
    if (used == 0)
        return;
    u->lo = fmin(u->lo, sqlite3_column_double(s, 3)); /* fmin and fmax pass over the NaN of the start */
    u->hi = fmax(u->hi, sqlite3_column_double(s, 4));
    u->sum += used * sqlite3_column_double(s, 5);
    if (u->used == 0)
        u->first = sqlite3_column_double(s, 6);
    u->last = sqlite3_column_double(s, 7);
    u->used += used;
}

bool store_roll_day(struct store *store, int64_t probe, int64_t day_ms)
{
    static const char sql[] = "SELECT n, used, good, lo, hi, mean, first, last FROM rollup_15min"
                              " WHERE probe = ? AND t_ms >= ? AND t_ms < ? ORDER BY t_ms";
    struct rollup u = rollup_at(day_ms);
    sqlite3_stmt *s;
    int code;
    if (sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(s, 1, probe);
    sqlite3_bind_int64(s, 2, day_ms);
    sqlite3_bind_int64(s, 3, day_ms + MS_PER_DAY);
    while ((code = sqlite3_step(s)) == SQLITE_ROW)
        add_quarter(&u, s);
    sqlite3_finalize(s);
    return code == SQLITE_DONE && (u.n == 0 || put_rollup(store, PUT_DAY, probe, &u));
}
