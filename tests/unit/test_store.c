/* What is put comes back, once; what the disk refuses is kept, counted and written later. */
#include "store_fixture.h"

#include <sqlite3.h>
#include <sys/resource.h>
#include <signal.h>
#include <fcntl.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

struct seen {
    int count;
    struct reading readings[64];
};

static void keep(void *context, const struct reading *r)
{
    struct seen *seen = context;
    assert_true(seen->count < 64);
    seen->readings[seen->count++] = *r;
}

static struct seen all_from(struct store *store, int64_t s)
{
    struct seen seen = { .count = 0 };
    assert_int_equal(store_each_reading(store, (utc_t){ T0 + s * 1000 }, keep, &seen), STATUS_OK);
    return seen;
}

static int teardown(void **state)
{
    struct rlimit none = { RLIM_INFINITY, RLIM_INFINITY };
    setrlimit(RLIMIT_FSIZE, &none);
    return room_teardown(state);
}

/* 0: no file may grow from here. */
static void files_beyond(struct room *room, rlim_t bytes)
{
    struct stat st;
    char wal[128];
    snprintf(wal, sizeof wal, "%s-wal", room->path);
    rlim_t have = stat(wal, &st) == 0 ? (rlim_t)st.st_size : 0;
    struct rlimit limit = { bytes == 0 ? have : bytes, RLIM_INFINITY };
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

static void readings_and_position_come_back(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    uint64_t safe;
    struct reading ec = reading_at(1, 10, 1.2);
    ec.value = 1234.5;
    struct reading missing = reading_at(0, 20, (double)NAN);
    missing.flag = FLAG_MISSING;
    struct reading unknown = reading_at(1, 30, 85.0);
    unknown.value = NAN;
    unknown.late = true;
    unknown.basis = TIME_FUTURE;
    unknown.tests = 0x92111111u;
    struct reading first = reading_at(0, 0, 24.25);
    store_put_reading(store, &first);
    store_put_reading(store, &ec);
    store_put_reading(store, &missing);
    store_put_reading(store, &unknown);
    assert_int_equal(store_commit(store, 7, at(30), false, &safe), STATUS_OK);
    assert_int_equal(safe, 0);
    assert_int_equal(store_deadline(store).ms, at(60).mono.ms);
    assert_int_equal(store_commit(store, 8, at(60), false, &safe), STATUS_OK);
    assert_int_equal(safe, 8);
    assert_int_equal(store_counts(store).stored, 4);
    store_close(store);

    store = store_made(room);
    assert_int_equal(store_inbox_position(store), 8);
    assert_int_equal(store_newest(store).ms, T0 + 30000);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, 4);
    assert_true(seen.readings[0].stream == 0 && seen.readings[0].value == 24.25);
    assert_true(seen.readings[1].stream == 1 && seen.readings[1].value == 1234.5 &&
                seen.readings[1].sent == 1.2);
    assert_true(isnan(seen.readings[2].value) && isnan(seen.readings[2].sent));
    assert_int_equal(seen.readings[2].flag, FLAG_MISSING);
    assert_true(isnan(seen.readings[3].value) && seen.readings[3].sent == 85.0 && seen.readings[3].late);
    assert_int_equal(seen.readings[3].basis, TIME_FUTURE);
    assert_int_equal(seen.readings[3].tests, 0x92111111u);
    assert_int_equal(all_from(store, 15).count, 2);
    store_close(store);
}

/* To the bit, in the table and in the view that people read. */
static void every_number_comes_back(void **state)
{
    struct room *room = *state;
    static const double numbers[] = { 24.31,       24.0625, -0.5,     6.85,         413,
                                      0.1 + 0.2,   1.0 / 3, 1e9 + .5, 214748.36475, -40.25,
                                      99999.00001, 1e-9,    -0.0,     1e300,        85.0,
                                      -127.0,      7.0001,  12.34565, 214748.5 };
    const int count = (int)(sizeof numbers / sizeof *numbers);
    struct store *store = store_made(room);
    for (int i = 0; i < count; i++) {
        struct reading r = reading_at(0, i, numbers[i]);
        store_put_reading(store, &r);
    }
    committed(store, 1, 30);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, count);
    for (int i = 0; i < count; i++) {
        char sql[128];
        assert_true(seen.readings[i].sent == numbers[i]);
        assert_true(seen.readings[i].value == numbers[i]);
        snprintf(sql, sizeof sql, "SELECT as_sent = value AND value = %.17g FROM readings LIMIT 1 OFFSET %d",
                 numbers[i], i);
        assert_int_equal(schema_number(store->db, sql, -1), 1);
    }
    store_close(store);
}

static void first_stays_and_revision_changes_the_row(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 0, 24.0), again = reading_at(0, 0, 25.0);
    store_put_reading(store, &r);
    store_put_reading(store, &again);
    committed(store, 1, 1);
    store_put_reading(store, &again);
    r.revised = true;
    r.flag = FLAG_SUSPECT;
    r.tests = 0x3111;
    store_put_reading(store, &r);
    committed(store, 2, 2);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, 1);
    assert_true(seen.readings[0].value == 24.0);
    assert_int_equal(seen.readings[0].flag, FLAG_SUSPECT);
    assert_int_equal(store_counts(store).stored, 1);
    /* The same after the row has moved to the settled table. */
    tended(store, 13 * 3600);
    r.flag = FLAG_FAIL;
    store_put_reading(store, &r);
    r.revised = false;
    store_put_reading(store, &again);
    committed(store, 3, 13 * 3600);
    seen = all_from(store, 0);
    assert_int_equal(seen.count, 1);
    assert_int_equal(seen.readings[0].flag, FLAG_FAIL);
    store_close(store);
}

static void every_verdict_comes_back(void **state)
{
    static const verdict_t verdicts[] = { 0x22111111u, 0x22112111u, 0x22131111u, 0,
                                          0x90u,       0x11111111u, 0x99999999u, 0xffffffffu };
    const int count = sizeof verdicts / sizeof *verdicts;
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < count; i++) {
        struct reading r = reading_at(0, i, 24.0);
        r.tests = verdicts[i];
        store_put_reading(store, &r);
    }
    committed(store, 1, count);
    for (int settled = 0; settled < 2; settled++) {
        struct seen seen = all_from(store, 0);
        assert_int_equal(seen.count, count);
        for (int i = 0; i < count; i++)
            assert_int_equal(seen.readings[i].tests, verdicts[i]);
        tended(store, 13 * 3600);
    }
    store_close(store);
}

static void revision_of_a_waiting_reading_is_one_row(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 0, 24.0), next = reading_at(0, 10, 25.0), again = reading_at(0, 0, 26.0);
    store_put_reading(store, &r);
    r.revised = true;
    r.flag = FLAG_SUSPECT;
    store_put_reading(store, &r);
    assert_int_equal(store_counts(store).buffered, 1);
    store_put_reading(store, &next);
    r.flag = FLAG_FAIL;
    store_put_reading(store, &r);
    store_put_reading(store, &again);
    committed(store, 1, 1);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, 2);
    assert_true(seen.readings[0].value == 24.0 && seen.readings[1].value == 25.0);
    assert_int_equal(seen.readings[0].flag, FLAG_FAIL);
    assert_int_equal(store_counts(store).stored, 2);
    store_close(store);
}

static long changes_of(struct store *store)
{
    return (long)sqlite3_total_changes(store->db);
}

/* Put, committed before its spike verdict is known, which is told then: how many rows that changed. */
static long rows_for_a_verdict(struct store *store, int64_t s, verdict_t settled)
{
    struct reading r = reading_at(0, s, 24.0);
    r.tests = 0x22112111u;
    store_put_reading(store, &r);
    committed(store, (uint64_t)(2 * s + 1), s);
    long before = changes_of(store);
    r.tests = settled;
    r.flag = verdict_aggregate(settled, false);
    r.revised = true;
    store_put_reading(store, &r);
    committed(store, (uint64_t)(2 * s + 2), s);
    return changes_of(store) - before - 1; /* the position */
}

static void a_spike_verdict_as_foretold_is_not_written_again(void **state)
{
    enum { USUAL = 0x22111111, OPEN = 0x22112111, SPIKE = 0x22114111 };
    static const verdict_t settled[] = { USUAL, USUAL, SPIKE, USUAL, USUAL, OPEN, OPEN, OPEN };
    static const long rows[] = { 1, 0, 1, 1, 0, 1, 0, 0 };
    const int count = sizeof rows / sizeof *rows;
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < count; i++)
        assert_int_equal(rows_for_a_verdict(store, i, settled[i]), rows[i]);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, count);
    for (int i = 0; i < count; i++)
        assert_int_equal(seen.readings[i].tests, settled[i]);
    store_close(store);
}

/* What a failed commit wrote is not there: when its reading has given way, the verdict brings it back whole.
 */
static void a_failed_commit_foretells_nothing(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    uint64_t safe;
    assert_int_equal(rows_for_a_verdict(store, 0, 0x22111111u), 1);
    struct reading r = reading_at(0, 10, 24.0);
    r.tests = 0x22112111u;
    store_put_reading(store, &r);
    signal(SIGXFSZ, SIG_IGN);
    files_beyond(room, 0);
    assert_int_equal(store_commit(store, 20, at(40), true, &safe), STATUS_IO);
    files_beyond(room, RLIM_INFINITY);
    while (store_counts(store).given_way == 0) {
        struct reading other = reading_at(1, 5, 400);
        store_put_reading(store, &other);
    }
    r.revised = true;
    r.tests = 0x22111111u;
    store_put_reading(store, &r);
    committed(store, 21, 200);
    assert_int_equal(all_from(store, 10).count, 1);
    store_close(store);
}

/* Times for which the key of recent readings has no place go to the settled ones, and are found all the same.
 */
static void any_time_has_its_place(void **state)
{
    static const int64_t times_ms[] = { INT64_C(-30000000000000), -1, 0,
                                        INT64_C(1577836799999),   T0, INT64_C(11577836799999),
                                        INT64_C(30000000000000) };
    const int count = (int)(sizeof times_ms / sizeof *times_ms);
    struct room *room = *state;
    struct store *store = store_made(room);
    struct seen seen = { .count = 0 };
    for (int i = 0; i < count; i++) {
        struct reading r = reading_at(i % 2, 0, 20 + i);
        r.t.ms = times_ms[i];
        store_put_reading(store, &r);
    }
    committed(store, 1, 0);
    assert_int_equal(store_newest(store).ms, times_ms[count - 1]);
    assert_int_equal(store_each_reading(store, (utc_t){ times_ms[0] }, keep, &seen), STATUS_OK);
    assert_int_equal(seen.count, count);
    for (int i = 0; i < count; i++)
        assert_true(seen.readings[i].t.ms == times_ms[i] && seen.readings[i].value == 20 + i &&
                    seen.readings[i].stream == i % 2);
    store_close(store);
}

static void settling_keeps_every_reading(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < 40; i++) {
        struct reading r = reading_at(i % 2, i * 1350, 20.0 + i);
        store_put_reading(store, &r);
    }
    committed(store, 1, 40 * 1350);
    int pieces = tended(store, 40 * 1350);
    assert_true(pieces >= 2 && pieces < 150); /* two for each stretch of time */
    struct reading late = reading_at(0, 1351, 99.0), fresh = reading_at(0, 40 * 1350, 1.0);
    store_put_reading(store, &late);
    store_put_reading(store, &fresh);
    committed(store, 2, 40 * 1350);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, 42);
    int64_t last[2] = { 0, 0 };
    for (int i = 0; i < seen.count; i++) {
        assert_true(seen.readings[i].t.ms > last[seen.readings[i].stream]);
        last[seen.readings[i].stream] = seen.readings[i].t.ms;
    }
    store_close(store);
    store = store_made(room);
    assert_int_equal(all_from(store, 0).count, 42);
    store_close(store);
}

static struct alert alert_made(void)
{
    struct alert a = { .index = 0,
                       .base = ALERT_UNACK,
                       .marks = ALERT_SHELVED,
                       .active = true,
                       .since = { T0 },
                       .raised_at = { T0 - 5 },
                       .value = 19.5,
                       .limit = 20.5,
                       .due = UTC_NONE,
                       .shelved_until = { T0 + 60000 },
                       .out_until = UTC_NONE,
                       .raises = 3,
                       .reminders = 2,
                       .leader = 1 };
    strcpy(a.cause, "heater-dead");
    strcpy(a.evidence, "it's 19.5 °C");
    strcpy(a.who, "ann");
    return a;
}

static void keep_alert(void *context, const struct alert *a)
{
    struct alert *out = context;
    assert_int_equal(out->index, -1);
    *out = *a;
}

static struct alert alert_read(struct store *store)
{
    struct alert back = { .index = -1 };
    assert_int_equal(store_each_alert(store, keep_alert, &back), STATUS_OK);
    return back;
}

static void alerts_come_back_whole(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct alert a = alert_made();
    struct reading r = reading_at(0, 0, 24.0);
    store_put_reading(store, &r);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_OK);
    assert_int_equal(store_counts(store).buffered, 0);
    a.base = ALERT_ACKED;
    assert_int_equal(store_put_alert(store, &a, CHANGE_ACK, (utc_t){ T0 + 1 }, false), STATUS_OK);
    store_close(store);
    store = store_made(room);
    struct alert back = alert_read(store);
    assert_int_equal(back.index, 0);
    assert_int_equal(back.base, ALERT_ACKED);
    assert_int_equal(back.marks, ALERT_SHELVED);
    assert_int_equal(back.leader, 1);
    assert_true(back.active && !back.unknown && back.value == 19.5 && back.limit == 20.5);
    assert_int_equal(back.since.ms, T0);
    assert_int_equal(back.raised_at.ms, T0 - 5);
    assert_int_equal(back.shelved_until.ms, T0 + 60000);
    assert_false(utc_is_set(back.due));
    assert_string_equal(back.cause, "heater-dead");
    assert_string_equal(back.evidence, "it's 19.5 °C");
    assert_string_equal(back.who, "ann");
    assert_string_equal(back.action, "");
    assert_int_equal(back.raises, 3);
    assert_int_equal(back.reminders, 2);
    store_close(store);
}

static void a_full_disk_loses_nothing_that_fits(void **state)
{
    struct room *room = *state;
    room->site.store.commit_rows = 10;
    struct store *store = store_made(room);
    struct alert a = alert_made();
    uint64_t safe;
    struct reading r = reading_at(0, 0, 24.0);
    store_put_reading(store, &r);
    committed(store, 1, 0);
    signal(SIGXFSZ, SIG_IGN);
    files_beyond(room, 0);
    for (int i = 1; i <= 5; i++) {
        r = reading_at(0, i, 24.0 + i);
        store_put_reading(store, &r);
    }
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_IO);
    assert_int_equal(store_commit(store, 6, at(40), true, &safe), STATUS_IO);
    assert_int_equal(safe, 1);
    struct store_counts counts = store_counts(store);
    assert_true(counts.failing && counts.failures >= 2 && counts.stored == 1 && counts.buffered == 6);
    assert_true(strlen(counts.reason) > 10);
    /* At rest: not tried again before its time. */
    assert_int_equal(store_commit(store, 6, at(41), false, &safe), STATUS_IO);
    assert_int_equal(store_counts(store).failures, counts.failures);
    assert_true(store_deadline(store).ms > at(40).mono.ms && store_deadline(store).ms <= at(110).mono.ms);
    for (int i = 6; i < 10000; i++) {
        r = reading_at(0, i, 24.0);
        store_put_reading(store, &r);
    }
    assert_true(store_counts(store).given_way > 0);
    files_beyond(room, RLIM_INFINITY);
    assert_int_equal(store_commit(store, 7, at(110), false, &safe), STATUS_OK);
    assert_int_equal(safe, 7);
    counts = store_counts(store);
    assert_false(counts.failing);
    assert_int_equal(counts.stored + counts.given_way, 10000);
    assert_string_equal(counts.reason, "");
    assert_int_equal(alert_read(store).base, ALERT_UNACK);
    store_close(store);
}

static sqlite3 *other_program(struct room *room, const char *sql)
{
    sqlite3 *db;
    assert_int_equal(sqlite3_open(room->path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    return db;
}

/* Somebody's own tool holds the store for a while. */
static void a_lock_of_another_program_is_waited_out(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    uint64_t safe;
    struct reading r = reading_at(0, 0, 24.0);
    store_put_reading(store, &r);
    committed(store, 1, 0);
    sqlite3 *other = other_program(room, "BEGIN IMMEDIATE");
    for (int i = 1; i <= 3; i++) {
        r = reading_at(0, i, 24.0 + i);
        store_put_reading(store, &r);
    }
    assert_int_equal(store_commit(store, 4, at(40), true, &safe), STATUS_IO);
    assert_int_equal(safe, 1);
    assert_true(store_counts(store).failing);
    assert_non_null(strstr(store_counts(store).reason, "held by another program"));
    sqlite3_close(other);
    assert_int_equal(store_commit(store, 4, at(110), false, &safe), STATUS_OK);
    assert_int_equal(safe, 4);
    assert_int_equal(all_from(store, 0).count, 4);
    assert_false(store_counts(store).failing);
    store_close(store);
}

/* A reader that does not end lets the log grow; once it is gone the log is cut again. */
static void the_log_is_cut_after_a_long_reader(void **state)
{
    enum { LIMIT = 8388608 };
    struct room *room = *state;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 0, 24.0);
    uint64_t seq = 1;
    int64_t s = 1;
    store_put_reading(store, &r);
    committed(store, seq, 0);
    sqlite3 *reader = other_program(room, "BEGIN; SELECT count(*) FROM recent");
    for (; store_counts(store).wal_bytes <= LIMIT + LIMIT / 2 && seq < 400; seq++) {
        for (int i = 0; i < 1000; i++, s++) {
            r = reading_at((int)(s % 2), s, 20 + (double)(s % 97) / 10);
            store_put_reading(store, &r);
        }
        committed(store, seq + 1, s);
    }
    assert_true(store_counts(store).wal_bytes > LIMIT);
    sqlite3_close(reader);
    for (int i = 0; i < 2000 && store_counts(store).wal_bytes > LIMIT; i++, s++) {
        r = reading_at(0, s, 21);
        store_put_reading(store, &r);
        committed(store, ++seq + 1, s);
        nap();
    }
    assert_true(store_counts(store).wal_bytes <= LIMIT);
    assert_int_equal(store_counts(store).given_way, 0);
    store_close(store);
}

static int64_t number_of(sqlite3 *db, const char *pragma)
{
    sqlite3_stmt *stmt;
    assert_int_equal(sqlite3_prepare_v2(db, pragma, -1, &stmt, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    int64_t n = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    return n;
}

/* What was freed goes back to the disk piece by piece, never in one go that holds the service up. */
static void free_pages_go_back_in_pieces(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    sqlite3 *other = other_program(room, "CREATE TABLE big(x); INSERT INTO big VALUES(zeroblob(20000000));"
                                         "DROP TABLE big");
    int64_t before = number_of(other, "PRAGMA freelist_count"), last = before, most = 0;
    assert_true(before > 9000);
    int turns = 0;
    while (store_tend(store, at(7200)) && turns < 1000) {
        int64_t left = number_of(other, "PRAGMA freelist_count");
        most = last - left > most ? last - left : most;
        last = left;
        turns++;
    }
    assert_true(turns < 1000 && last < before && last <= 8192);
    assert_true(most > 0 && most <= 256);
    sqlite3_close(other);
    store_close(store);
}

static void newest_alert_survives_a_flood(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct alert a = alert_made(), b = alert_made();
    b.index = 1;
    b.leader = -1;
    strcpy(b.cause, "only once");
    signal(SIGXFSZ, SIG_IGN);
    files_beyond(room, 0);
    assert_int_equal(store_put_alert(store, &b, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_IO);
    for (int i = 0; i < 600; i++) {
        a.raises = (uint32_t)i;
        assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 + i }, true), STATUS_IO);
    }
    files_beyond(room, RLIM_INFINITY);
    committed(store, 1, 200);
    room->site.alert_count = 1;
    assert_int_equal(alert_read(store).raises, 599);
    room->site.alert_count = 2;
    store_close(store);
    room->site.alerts = &room->alerts[1];
    room->site.alert_count = 1;
    store = store_made(room);
    assert_string_equal(alert_read(store).cause, "only once");
    store_close(store);
}

static void flip(const char *path, long offset, size_t n)
{
    int fd = open(path, O_RDWR);
    char junk[4096];
    assert_true(fd >= 0);
    memset(junk, 0xA5, sizeof junk);
    for (size_t done = 0; done < n; done += sizeof junk)
        assert_true(pwrite(fd, junk, n - done < sizeof junk ? n - done : sizeof junk, offset + (long)done) >
                    0);
    close(fd);
}

#define SETTLES_AT (12 * 3600) /* readings before it move to the settled table, later ones stay */

static void fill(struct room *room, int count)
{
    struct store *store = store_made(room);
    struct alert a = alert_made();
    for (int i = 0; i < count; i++) {
        struct reading r = reading_at(0, SETTLES_AT + i - count / 2, i);
        store_put_reading(store, &r);
        if (i % 1000 == 0)
            committed(store, (uint64_t)i, i);
    }
    committed(store, 42, count);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_OK);
    tended(store, SETTLES_AT + count);
    store_close(store);
}

static int count_rows;
static void count_one(void *context, const struct reading *r)
{
    (void)context;
    (void)r;
    count_rows++;
}

static int rows_of(struct store *store)
{
    count_rows = 0;
    assert_int_equal(store_each_reading(store, (utc_t){ 0 }, count_one, NULL), STATUS_OK);
    return count_rows;
}

static void damage_is_set_aside_and_salvaged(void **state)
{
    struct room *room = *state;
    struct store *store;
    struct why why;
    struct stat st;
    char aside[128];
    fill(room, 15000);
    assert_int_equal(stat(room->path, &st), 0);
    flip(room->path, st.st_size / 4 * 3 / 2048 * 2048, 6144);
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_OK);
    assert_non_null(strstr(why.text, "damaged-1"));
    snprintf(aside, sizeof aside, "%s.damaged-1", room->path);
    assert_int_equal(access(aside, F_OK), 0);
    int rows = rows_of(store);
    assert_true(rows > 5000 && rows < 15000);
    assert_int_equal(alert_read(store).index, 0);
    assert_int_equal(store_inbox_position(store), 42);
    struct reading r = reading_at(0, 20000, 1);
    store_put_reading(store, &r);
    committed(store, 43, 20000);
    store_close(store);
    store = store_made(room);
    assert_int_equal(rows_of(store), rows + 1);
    store_close(store);
}

static void a_destroyed_head_starts_anew(void **state)
{
    struct room *room = *state;
    struct store *store;
    struct why why;
    fill(room, 100);
    flip(room->path, 0, 100);
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_OK);
    assert_non_null(strstr(why.text, "set aside"));
    assert_int_equal(rows_of(store), 0);
    store_close(store);
}

static void damage_found_while_running_is_mended(void **state)
{
    struct room *room = *state;
    struct why why;
    struct store *store;
    uint64_t safe;
    fill(room, 15000);
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_OK);
    struct stat st;
    assert_int_equal(stat(room->path, &st), 0);
    flip(room->path, 4096, (size_t)st.st_size - 8192);
    struct reading r = reading_at(0, 10, 0);
    r.revised = true;
    store_put_reading(store, &r);
    enum status status = store_commit(store, 50, at(15100), true, &safe);
    if (status != STATUS_OK) {
        assert_true(store_counts(store).failing);
        assert_int_equal(store_commit(store, 50, at(15200), false, &safe), STATUS_OK);
    }
    assert_false(store_counts(store).failing);
    store_close(store);
}

static void a_missing_folder_is_waited_for(void **state)
{
    struct room *room = *state;
    struct store *store;
    struct why why;
    uint64_t safe;
    char folder[128], path[160];
    snprintf(folder, sizeof folder, "%s/later", room->dir);
    snprintf(path, sizeof path, "%s/store.db", folder);
    room->site.store.path = path;
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_IO);
    assert_non_null(store);
    assert_non_null(strstr(why.text, "folder"));
    assert_true(store_counts(store).failing);
    struct reading r = reading_at(0, 0, 24.0);
    struct alert a = alert_made();
    store_put_reading(store, &r);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_IO);
    assert_int_equal(store_each_alert(store, keep_alert, &a), STATUS_IO);
    assert_false(store_tend(store, at(1)));
    assert_int_equal(mkdir(folder, 0700), 0);
    assert_int_equal(store_commit(store, 3, at(100), true, &safe), STATUS_OK);
    assert_int_equal(safe, 3);
    assert_int_equal(rows_of(store), 1);
    store_close(store);
    unlink(path);
    rmdir(folder);
}

static void a_reload_carries_over_by_name(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct why why;
    struct room other = *room;
    other.streams[0] = room->streams[1];
    other.streams[1] = room->streams[0];
    other.alerts[0] = room->alerts[1];
    other.alerts[1] = room->alerts[0];
    other.site.streams = other.streams;
    other.site.alerts = other.alerts;
    struct reading r = reading_at(0, 0, 24.0);
    struct alert a = alert_made();
    signal(SIGXFSZ, SIG_IGN);
    files_beyond(room, 0);
    store_put_reading(store, &r);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_IO);
    assert_int_equal(store_bind(store, &other.site, &why), STATUS_OK);
    files_beyond(room, RLIM_INFINITY);
    committed(store, 1, 100);
    struct seen seen = all_from(store, 0);
    assert_int_equal(seen.count, 1);
    assert_int_equal(seen.readings[0].stream, 1);
    assert_int_equal(alert_read(store).index, 1);
    assert_int_equal(store_bind(store, &room->site, &why), STATUS_OK);
    assert_int_equal(all_from(store, 0).readings[0].stream, 0);
    store_close(store);
}

static void put_journal_and_event(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry c;
    journal_clear(&c);
    c.id = 1;
    c.kind = JOURNAL_REMARK;
    c.at = c.written = (utc_t){ T0 };
    strcpy(c.text, "all well");
    struct event e = { .kind = EVENT_TOPOFF_SEEN, .place = 0, .quantity = Q_COUNT, .value = NAN };
    store_hold_event(store, &e, (utc_t){ T0 });
    assert_int_equal(store_counts(store).buffered, 1);
    assert_int_equal(store_put_journal(store, &c, (utc_t){ T0 }), STATUS_OK);
    assert_int_equal(store_counts(store).buffered, 0);
    store_close(store);
}

static void state_by_name(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    uint8_t *bytes;
    assert_int_equal(store_load_state(store, "engine", &bytes), 0);
    assert_null(bytes);
    assert_int_equal(store_save_state(store, "engine", "one\0two", 7), STATUS_OK);
    assert_int_equal(store_load_state(store, "engine", &bytes), 7);
    assert_memory_equal(bytes, "one\0two", 7);
    free(bytes);
    store_close(store);
}

/* Deflated; what was stored plainly before is still read, and damage is not believed. */
static void a_large_state_comes_back(void **state)
{
    enum { SIZE = 300000 };
    struct room *room = *state;
    struct store *store = store_made(room);
    uint8_t *bytes, *again;
    uint8_t *large = malloc(SIZE);
    assert_non_null(large);
    uint32_t chance = 1;
    for (int i = 0; i < SIZE; i++) {
        chance = chance * 1664525 + 1013904223;
        large[i] = i % 16 < 4 ? (uint8_t)(chance >> 24) : 0;
    }
    assert_int_equal(store_save_state(store, "engine", large, SIZE), STATUS_OK);
    assert_int_equal(store_load_state(store, "engine", &bytes), SIZE);
    assert_memory_equal(bytes, large, SIZE);
    sqlite3 *other = other_program(room, "UPDATE state SET name = 'small' WHERE length(bytes) < 150000;"
                                         "INSERT INTO state VALUES('plain', zeroblob(5000));"
                                         "INSERT INTO state SELECT 'cut', substr(bytes, 1, 5000) FROM state"
                                         " WHERE name = 'small';"
                                         "INSERT INTO state SELECT 'short', substr(bytes, 1, 16) FROM state"
                                         " WHERE name = 'small'");
    assert_int_equal(store_load_state(store, "small", &again), SIZE);
    free(again);
    assert_int_equal(store_load_state(store, "plain", &again), 5000);
    free(again);
    assert_int_equal(store_load_state(store, "cut", &again), 0);
    assert_null(again);
    assert_int_equal(store_load_state(store, "short", &again), 16); /* no more than its head: not deflated */
    free(again);
    sqlite3_close(other);
    free(bytes);
    free(large);
    store_close(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(readings_and_position_come_back, room_setup, teardown),
        cmocka_unit_test_setup_teardown(first_stays_and_revision_changes_the_row, room_setup, teardown),
        cmocka_unit_test_setup_teardown(every_number_comes_back, room_setup, teardown),
        cmocka_unit_test_setup_teardown(every_verdict_comes_back, room_setup, teardown),
        cmocka_unit_test_setup_teardown(revision_of_a_waiting_reading_is_one_row, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_spike_verdict_as_foretold_is_not_written_again, room_setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_failed_commit_foretells_nothing, room_setup, teardown),
        cmocka_unit_test_setup_teardown(any_time_has_its_place, room_setup, teardown),
        cmocka_unit_test_setup_teardown(settling_keeps_every_reading, room_setup, teardown),
        cmocka_unit_test_setup_teardown(alerts_come_back_whole, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_full_disk_loses_nothing_that_fits, room_setup, teardown),
        cmocka_unit_test_setup_teardown(newest_alert_survives_a_flood, room_setup, teardown),
        cmocka_unit_test_setup_teardown(free_pages_go_back_in_pieces, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_lock_of_another_program_is_waited_out, room_setup, teardown),
        cmocka_unit_test_setup_teardown(the_log_is_cut_after_a_long_reader, room_setup, teardown),
        cmocka_unit_test_setup_teardown(damage_is_set_aside_and_salvaged, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_destroyed_head_starts_anew, room_setup, teardown),
        cmocka_unit_test_setup_teardown(damage_found_while_running_is_mended, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_missing_folder_is_waited_for, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_reload_carries_over_by_name, room_setup, teardown),
        cmocka_unit_test_setup_teardown(put_journal_and_event, room_setup, teardown),
        cmocka_unit_test_setup_teardown(state_by_name, room_setup, teardown),
        cmocka_unit_test_setup_teardown(a_large_state_comes_back, room_setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
