/* The journal in the store: written, read back, corrected, withdrawn; and the layout of before carried over.
 */
#include "store_fixture.h"

#include <sqlite3.h>

#include "adapters/store_journal.h"
#include "adapters/store_schema.h"

static struct journal_entry test_of(int64_t id, double gh, int64_t s)
{
    struct journal_entry e;
    journal_clear(&e);
    e.id = id;
    e.kind = JOURNAL_TEST;
    e.at = e.written = (utc_t){ T0 + s * 1000 };
    strcpy(e.place, "tank/a1");
    strcpy(e.kit, "drops-1");
    strcpy(e.who, "Ada");
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", gh, 0.5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ca", 30, NAN), STATUS_OK);
    return e;
}

static struct journal_entry seen[16];
static int count;

static void see(void *context, const struct journal_entry *e)
{
    (void)context;
    seen[count++] = *e;
}

static void every_field_comes_back(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry e = test_of(7, 6, 0), back;
    e.kind = JOURNAL_BATCH;
    e.litres = 60.5;
    e.grams = 2;
    e.batch = 5;
    strcpy(e.water, "soft");
    strcpy(e.lot, "77");
    strcpy(e.other, "b2");
    strcpy(e.text, "stirred");
    e.written.ms += 5000;
    assert_int_equal(journal_put(&e, JOURNAL_SALT, "gh", 5.4, NAN), STATUS_OK);
    store_hold_journal(store, &e, e.written);
    assert_int_equal(store_journal_find(store, 7, &back), STATUS_OK); /* still waiting */
    assert_int_equal(store_journal_last(store), 7);
    committed(store, 1, 1);
    assert_int_equal(store_journal_find(store, 7, &back), STATUS_OK);
    assert_int_equal(store_journal_last(store), 7);
    assert_int_equal(back.kind, JOURNAL_BATCH);
    assert_true(back.at.ms == e.at.ms && back.written.ms == e.written.ms);
    assert_true(back.litres == 60.5 && back.grams == 2 && back.batch == 5);
    assert_string_equal(back.water, "soft");
    assert_string_equal(back.kit, "drops-1");
    assert_string_equal(back.lot, "77");
    assert_string_equal(back.other, "b2");
    assert_string_equal(back.who, "Ada");
    assert_string_equal(back.text, "stirred");
    assert_int_equal(back.item_count, 3);
    assert_true(journal_amount(&back, JOURNAL_VALUE, "gh") == 6);
    assert_true(journal_amount(&back, JOURNAL_SALT, "gh") == 5.4);
    assert_true(journal_item(&back, JOURNAL_VALUE, "gh")->sd == 0.5);
    assert_true(isnan(journal_item(&back, JOURNAL_VALUE, "ca")->sd));
    assert_true(journal_counts(&back));
    assert_int_equal(store_journal_find(store, 8, &back), STATUS_NONE);
    store_close(store);
}

static void nothing_is_deleted(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry first = test_of(1, 6, 0), fixed = test_of(2, 5, 0), gone = test_of(3, 9, 60), back;
    struct journal_entry withdrawal = {
        .withdraws = 3, .written = { T0 + 99000 }, .text = "wrong tank", .who = "Bo"
    };
    fixed.corrects = 1;
    store_hold_journal(store, &first, first.written);
    store_hold_journal(store, &gone, gone.written);
    store_hold_journal(store, &fixed, fixed.written);
    store_hold_journal(store, &withdrawal, withdrawal.written);
    for (int i = 0; i < 2; i++) { /* waiting, then committed */
        assert_int_equal(store_journal_find(store, 1, &back), STATUS_OK);
        assert_int_equal(back.superseded_by, 2);
        assert_int_equal(store_journal_find(store, 3, &back), STATUS_OK);
        assert_int_equal(back.withdrawn.ms, T0 + 99000);
        assert_string_equal(back.withdrawn_why, "wrong tank");
        assert_string_equal(back.withdrawn_by, "Bo");
        count = 0;
        assert_int_equal(store_each_journal(store, (utc_t){ T0 - 1 }, JOURNAL_TEST, see, NULL), STATUS_OK);
        assert_int_equal(count, 3);
        committed(store, (uint64_t)i + 1, i + 1);
    }
    struct store_reader *reader;
    struct why why;
    struct journal_query query = JOURNAL_QUERY_ALL;
    assert_int_equal(store_reader_open(room->path, &reader, &why), STATUS_OK);
    count = 0;
    assert_int_equal(store_reader_journal(reader, &query, see, NULL), STATUS_OK);
    assert_int_equal(count, 1);
    assert_int_equal(seen[0].id, 2);
    query.also_void = true;
    count = 0;
    assert_int_equal(store_reader_journal(reader, &query, see, NULL), STATUS_OK);
    assert_int_equal(count, 3);
    store_reader_close(reader);
    store_close(store);
}

static void asked_by_place_kind_batch_and_time(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry a = test_of(1, 6, 0), b = test_of(2, 6, 100), c = test_of(3, 6, 200);
    b.kind = JOURNAL_CHANGE;
    b.batch = 1;
    strcpy(b.water, "soft");
    strcpy(c.place, "tank/b1");
    store_hold_journal(store, &c, c.written);
    store_hold_journal(store, &b, b.written);
    store_hold_journal(store, &a, a.written);
    committed(store, 1, 300);
    struct store_reader *reader;
    struct why why;
    struct {
        struct journal_query query;
        int want;
        int64_t first;
    } cases[7] = { { JOURNAL_QUERY_ALL, 3, 1 }, { JOURNAL_QUERY_ALL, 2, 1 }, { JOURNAL_QUERY_ALL, 1, 2 },
                   { JOURNAL_QUERY_ALL, 1, 2 }, { JOURNAL_QUERY_ALL, 1, 2 }, { JOURNAL_QUERY_ALL, 1, 3 },
                   { JOURNAL_QUERY_ALL, 1, 1 } };
    cases[1].query.place = "tank/a1";
    cases[2].query.kind = JOURNAL_CHANGE;
    cases[3].query.batch = 1;
    cases[4].query.water = "soft";
    cases[5].query.from = (utc_t){ T0 + 200000 };
    cases[6].query.to = (utc_t){ T0 + 100000 };
    assert_int_equal(store_reader_open(room->path, &reader, &why), STATUS_OK);
    for (int i = 0; i < 7; i++) {
        count = 0;
        assert_int_equal(store_reader_journal(reader, &cases[i].query, see, NULL), STATUS_OK);
        assert_int_equal(count, cases[i].want);
        assert_int_equal(seen[0].id, cases[i].first);
    }
    store_reader_close(reader);
    store_close(store);
}

static void a_number_that_is_taken_costs_no_entry(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry a = test_of(1, 6, 0), b = test_of(1, 9, 60), back;
    store_hold_journal(store, &a, a.written);
    committed(store, 1, 1);
    store_hold_journal(store, &b, b.written);
    committed(store, 2, 2);
    assert_int_equal(store_journal_last(store), 2);
    assert_int_equal(store_journal_find(store, 1, &back), STATUS_OK);
    assert_true(journal_amount(&back, JOURNAL_VALUE, "gh") == 6);
    assert_int_equal(store_journal_find(store, 2, &back), STATUS_OK);
    assert_true(journal_amount(&back, JOURNAL_VALUE, "gh") == 9);
    store_close(store);
}

/* A store of the version before, with what its journal held. */
static void make_old_store(const struct room *room)
{
    struct sqlite3 *db;
    struct why why;
    assert_int_equal(schema_open(room->path, schema_steps, 3, &db, &why), STATUS_OK);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, 3, &why), STATUS_OK);
    assert_int_equal(
        schema_run(db, "INSERT INTO journal VALUES"
                       "(1, 1000, 900, 'note', 'tank/a1', NULL, 'test', 'gh', 6.5, NULL, NULL, NULL, 'Ada', "
                       "'late', '{}'),"
                       "(2, 2000, 2000, 'note', 'tank/a1', NULL, 'change', NULL, NULL, 6, NULL, NULL, NULL, "
                       "NULL, '{}'),"
                       "(3, 3000, 3000, 'note', 'tank/a1', NULL, 'moved the rack', NULL, NULL, NULL, NULL, "
                       "NULL, 'Bo', 'dust', '{}'),"
                       "(4, 4000, 4000, 'calibrate', 'tank/a1', NULL, 'calibrated', 'ph', NULL, NULL, NULL, "
                       "NULL, 'Bo', NULL, '{}')"),
        SQLITE_OK);
    sqlite3_close(db);
}

static void the_journal_of_before_is_carried_over(void **state)
{
    struct room *room = *state;
    struct journal_entry e;
    make_old_store(room);
    struct store *store = store_made(room);
    assert_int_equal(store_journal_last(store), 4);
    assert_int_equal(store_journal_find(store, 1, &e), STATUS_OK);
    assert_int_equal(e.kind, JOURNAL_TEST);
    assert_true(e.at.ms == 900 && e.written.ms == 1000);
    assert_true(journal_amount(&e, JOURNAL_VALUE, "gh") == 6.5);
    assert_string_equal(e.who, "Ada");
    assert_string_equal(e.text, "late");
    assert_int_equal(store_journal_find(store, 2, &e), STATUS_OK);
    assert_true(e.kind == JOURNAL_CHANGE && e.litres == 6);
    assert_int_equal(store_journal_find(store, 3, &e), STATUS_OK);
    assert_int_equal(e.kind, JOURNAL_REMARK);
    assert_string_equal(e.text, "moved the rack  dust");
    assert_int_equal(store_journal_find(store, 4, &e), STATUS_OK);
    assert_int_equal(e.kind, JOURNAL_CALIBRATION);
    store_close(store);
}

static void the_views_are_readable(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct journal_entry a = test_of(1, 6, 0), b = test_of(2, 5, 0);
    struct sqlite3 *db;
    b.corrects = 1;
    store_hold_journal(store, &a, a.written);
    store_hold_journal(store, &b, b.written);
    committed(store, 1, 1);
    assert_int_equal(sqlite3_open_v2(room->path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(schema_number(db, "SELECT count(*) FROM notes WHERE figures = 'gh 6.0, ca 30.0'", -1),
                     1);
    assert_int_equal(
        schema_number(db, "SELECT count(*) FROM notes WHERE state = 'corrected' AND corrected_by = 2", -1),
        1);
    assert_int_equal(
        schema_number(db, "SELECT count(*) FROM hand_tests WHERE value = 5 AND uncertainty = 0.5", -1), 1);
    assert_int_equal(schema_number(db, "SELECT count(*) FROM hand_tests", -1), 2);
    sqlite3_close(db);
    store_close(store);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, room_setup, room_teardown)
    const struct CMUnitTest tests[] = {
        TEST(every_field_comes_back),
        TEST(nothing_is_deleted),
        TEST(asked_by_place_kind_batch_and_time),
        TEST(a_number_that_is_taken_costs_no_entry),
        TEST(the_journal_of_before_is_carried_over),
        TEST(the_views_are_readable),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
