/* History from whatever source fits, with the extremes kept. */
#include "store_fixture.h"

#include "adapters/store_query.h"

static struct store_reader *reader_made(struct room *room)
{
    struct store_reader *reader;
    struct why why;
    enum status st = store_reader_open(room->path, &reader, &why);
    if (st != STATUS_OK)
        fail_msg("%s", why.text);
    return reader;
}

#define DAYS 3
#define LAST (DAYS * 24 * 3600)

/* A value every minute, a spike of 40 once, one reading that failed and one that was missing. */
static void fill(struct store *store)
{
    for (int i = 0; i < LAST; i += 60) {
        struct reading r = reading_at(0, i, 20.0 + i % 3600 / 3600.0);
        if (i == 36000)
            r.value = r.sent = 40.0;
        if (i == 72000) {
            r.value = r.sent = 500.0;
            r.tests = verdict_set(r.tests, TEST_GROSS, FLAG_FAIL);
            r.flag = FLAG_FAIL;
        }
        if (i == 72060) {
            r.value = r.sent = NAN;
            r.flag = FLAG_MISSING;
        }
        store_put_reading(store, &r);
        if (i % 36000 == 0)
            committed(store, (uint64_t)i + 1, i);
    }
    committed(store, LAST + 1, LAST);
}

static double highest(const struct history_point *p, int count)
{
    double hi = -1;
    for (int i = 0; i < count; i++)
        if (p[i].hi > hi)
            hi = p[i].hi;
    return hi;
}

static int records(const struct history_point *p, int count)
{
    int n = 0;
    for (int i = 0; i < count; i++)
        n += p[i].n;
    return n;
}

static int rows;
static double last_value;
static void count_row(void *context, const struct reading *r, const char *probe)
{
    assert_string_equal(probe, "probes/a1#/t");
    (void)context;
    rows++;
    last_value = r->value;
}

/* Readings that stayed, against the line between them. */
struct kept {
    const double *truth; /* by minute */
    int last, count;     /* minute of the last one */
    bool bad_there;
    double worst;
};

static void check_kept(void *context, const struct reading *r, const char *probe)
{
    struct kept *k = context;
    int minute = (int)((r->t.ms - T0) / 60000);
    (void)probe;
    k->bad_there |= r->flag == FLAG_FAIL;
    for (int i = k->last + 1; k->count > 0 && i < minute; i++) {
        double share = (double)(i - k->last) / (minute - k->last);
        double line = k->truth[k->last] + share * (k->truth[minute] - k->truth[k->last]);
        k->worst = fmax(k->worst, fabs(line - k->truth[i]));
    }
    k->last = minute;
    k->count++;
}

static void history_is_the_same_before_and_after_settling(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct history_point a[100], b[100];
    int na, nb;
    fill(store);
    struct store_reader *reader = reader_made(room);
    utc_t from = { T0 }, to = { T0 + LAST * 1000 };
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, a, 72, &na), STATUS_OK);
    tended(store, LAST);
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, b, 72, &nb), STATUS_OK);
    assert_int_equal(na, 72);
    assert_int_equal(nb, 72);
    for (int i = 0; i < na; i++) {
        assert_int_equal(a[i].t.ms, b[i].t.ms);
        assert_int_equal(a[i].n, b[i].n);
        assert_true(fabs(a[i].value - b[i].value) < 1e-9 && a[i].lo == b[i].lo && a[i].hi == b[i].hi);
    }
    assert_int_equal(records(b, nb), LAST / 60);
    assert_true(highest(b, nb) == 40.0);
    assert_int_equal(a[20].flag, FLAG_MISSING);
    assert_int_equal(a[19].flag, FLAG_GOOD);
    /* Days from the day rollup: noon of the first to noon of the fourth. */
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, b, 3, &nb), STATUS_OK);
    assert_int_equal(nb, 3);
    assert_true(highest(b, nb) == 40.0);
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, b, 1, &nb), STATUS_OK);
    assert_int_equal(b[0].n, LAST / 60);
    assert_int_equal(store_reader_history(reader, "tank/zz", "temp", from, to, b, 1, &nb), STATUS_OK);
    assert_int_equal(nb, 0);
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", to, from, b, 1, &nb), STATUS_INVALID);
    store_reader_close(reader);
    store_close(store);
}

static void a_single_reading_keeps_its_time(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct history_point p[10];
    struct reading r = reading_at(1, 1234, 480.0);
    int count;
    store_put_reading(store, &r);
    committed(store, 1, 1300);
    struct store_reader *reader = reader_made(room);
    assert_int_equal(
        store_reader_history(reader, "tank/a1", "ec", (utc_t){ T0 }, (utc_t){ T0 + 3600000 }, p, 10, &count),
        STATUS_OK);
    assert_int_equal(count, 1);
    assert_int_equal(p[0].t.ms, T0 + 1234000);
    assert_true(p[0].value == 480.0 && p[0].lo == 480.0 && p[0].hi == 480.0);
    store_reader_close(reader);
    store_close(store);
}

static void late_reading_changes_its_quarter_hour(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct history_point p[4];
    int count;
    fill(store);
    tended(store, LAST);
    struct reading late = reading_at(0, 3601, 33.0);
    store_put_reading(store, &late);
    committed(store, LAST + 2, LAST);
    tended(store, LAST);
    struct store_reader *reader = reader_made(room);
    assert_int_equal(
        store_reader_history(reader, "tank/a1", "temp", (utc_t){ T0 }, (utc_t){ T0 + 7200000 }, p, 2, &count),
        STATUS_OK);
    assert_int_equal(count, 2);
    assert_int_equal(p[1].n, 61);
    assert_true(p[1].hi == 33.0);
    store_reader_close(reader);
    store_close(store);
}

static void old_raw_goes_but_not_around_alerts(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct history_point p[80];
    struct alert a = { .index = 0,
                       .base = ALERT_UNACK,
                       .value = NAN,
                       .limit = NAN,
                       .since = UTC_NONE,
                       .raised_at = UTC_NONE,
                       .due = UTC_NONE,
                       .shelved_until = UTC_NONE,
                       .out_until = UTC_NONE,
                       .leader = -1 };
    int count;
    fill(store);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 + 12 * 3600000 }, true), STATUS_OK);
    room->site.store.keep_raw_days = 1;
    int64_t later = LAST + 10 * 3600;
    tended(store, LAST);
    struct store_reader *reader = reader_made(room);
    /* Not before the clock has proved steady. */
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", (utc_t){ T0 },
                                          (utc_t){ T0 + LAST * 1000 }, p, 80, &count),
                     STATUS_OK);
    assert_int_equal(records(p, count), LAST / 60);
    tended(store, later);
    /* 12 h around the alert remain as raw, everything as rollup. */
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", (utc_t){ T0 },
                                          (utc_t){ T0 + LAST * 1000 }, p, 80, &count),
                     STATUS_OK);
    assert_int_equal(records(p, count), LAST / 60);
    assert_true(highest(p, count) == 40.0);
    rows = 0;
    assert_int_equal(store_reader_readings(reader, "tank/a1", "temp", (utc_t){ T0 },
                                           (utc_t){ T0 + 35 * 3600000 }, count_row, NULL),
                     STATUS_OK); /* what goes, goes by whole stretches of 17 minutes */
    assert_int_equal(rows, 12 * 60 + 1);
    store_reader_close(reader);
    store_close(store);
}

/* Five days of a slow wave with noise every minute: thinned, its rollups and what was bad are as before. */
static void old_readings_are_thinned_within_the_bound(void **state)
{
    enum { MINUTES = 5 * 24 * 60 };
    struct room *room = *state;
    struct store *store = store_made(room);
    static double truth[MINUTES];
    static struct history_point before[500], after[500];
    int nb, na;
    for (int i = 0; i < MINUTES; i++) {
        truth[i] = 24 + sin(i / 200.0) + (i * 7919 % 13 - 6) * 0.003;
        struct reading r = reading_at(0, i * 60, truth[i]);
        if (i == 1000) {
            r.tests = verdict_set(r.tests, TEST_GROSS, FLAG_FAIL);
            r.flag = FLAG_FAIL;
        }
        store_put_reading(store, &r);
        if (i % 600 == 599)
            committed(store, (uint64_t)i + 1, i * 60);
    }
    tended(store, MINUTES * 60);
    struct store_reader *reader = reader_made(room);
    utc_t from = { T0 }, to = { T0 + (int64_t)MINUTES * 60000 };
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, before, 480, &nb), STATUS_OK);
    room->site.store.thin_after_days = 1;
    room->site.store.thin_bound = 2; /* of 0.03 degrees */
    room->site.store.thin_longest_s = 3600;
    tended(store, MINUTES * 60 + 7 * 3600);
    assert_int_equal(store_reader_history(reader, "tank/a1", "temp", from, to, after, 480, &na), STATUS_OK);
    assert_int_equal(na, nb);
    assert_memory_equal(before, after, (size_t)nb * sizeof *before);
    struct kept k = { .truth = truth };
    assert_int_equal(store_reader_readings(reader, "tank/a1", "temp", from, to, check_kept, &k), STATUS_OK);
    assert_true(k.bad_there);
    assert_true(k.count < MINUTES / 2);
    if (k.worst > 0.0601)
        fail_msg("%g off", k.worst);
    store_reader_close(reader);
    store_close(store);
}

static void readings_in_order_over_both_tables(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < 10; i++) {
        struct reading r = reading_at(0, i * 7200, i);
        store_put_reading(store, &r);
    }
    committed(store, 1, 72000);
    tended(store, 72000);
    struct store_reader *reader = reader_made(room);
    rows = 0;
    assert_int_equal(store_reader_readings(reader, "tank/a1", "temp", (utc_t){ T0 + 7200000 },
                                           (utc_t){ T0 + 64800000 }, count_row, NULL),
                     STATUS_OK);
    assert_int_equal(rows, 8);
    assert_true(last_value == 8.0);
    store_reader_close(reader);
    store_close(store);
}

static int series;
static void keep_series(void *context, const struct series_row *row)
{
    (void)context;
    series++;
    assert_string_equal(row->place, "tank/a1");
    if (strcmp(row->quantity, "temp") == 0) {
        assert_int_equal(row->last.ms, T0 + 5000);
        assert_string_equal(row->unit, "°C");
    } else {
        assert_false(utc_is_set(row->last));
    }
}

static struct alert_row seen_row;
static void keep_change(void *context, const struct alert_row *row)
{
    (void)context;
    seen_row = *row;
}

static void series_and_changes(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 5, 24.0);
    struct alert a = { .index = 0,
                       .base = ALERT_UNACK,
                       .value = 19.5,
                       .limit = NAN,
                       .since = UTC_NONE,
                       .raised_at = UTC_NONE,
                       .due = UTC_NONE,
                       .shelved_until = UTC_NONE,
                       .out_until = UTC_NONE,
                       .leader = -1,
                       .action = "look" };
    store_put_reading(store, &r);
    assert_int_equal(store_put_alert(store, &a, CHANGE_RAISE, (utc_t){ T0 }, true), STATUS_OK);
    store_close(store);
    struct store_reader *reader = reader_made(room);
    series = 0;
    assert_int_equal(store_reader_series(reader, keep_series, NULL), STATUS_OK);
    assert_int_equal(series, 2);
    assert_int_equal(store_reader_alert_changes(reader, (utc_t){ T0 }, (utc_t){ T0 + 1 }, keep_change, NULL),
                     STATUS_OK);
    assert_string_equal(seen_row.kind, "temp-low");
    assert_string_equal(seen_row.change, "raise");
    assert_string_equal(seen_row.unit, "°C");
    assert_string_equal(seen_row.action, "look");
    assert_true(seen_row.value == 19.5 && isnan(seen_row.limit));
    store_reader_close(reader);
}

static void what_is_no_store_is_said_plainly(void **state)
{
    struct room *room = *state;
    struct store_reader *reader;
    struct why why;
    assert_int_equal(store_reader_open(room->path, &reader, &why), STATUS_IO);
    assert_null(reader);
    assert_non_null(strstr(why.text, "no store at"));
    FILE *f = fopen(room->path, "w");
    fputs("not a database at all, but long enough to look at it", f);
    fclose(f);
    assert_int_equal(store_reader_open(room->path, &reader, &why), STATUS_IO);
    assert_null(reader);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(history_is_the_same_before_and_after_settling, room_setup,
                                        room_teardown),
        cmocka_unit_test_setup_teardown(a_single_reading_keeps_its_time, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(late_reading_changes_its_quarter_hour, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(old_raw_goes_but_not_around_alerts, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(old_readings_are_thinned_within_the_bound, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(readings_in_order_over_both_tables, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(series_and_changes, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(what_is_no_store_is_said_plainly, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
