/* Syncing and carrying the log over happen beside the writer and lose nothing. */
#include "store_fixture.h"

#include <sqlite3.h>

#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

static void put(struct store *store, int from, int count)
{
    for (int i = from; i < from + count; i++) {
        struct reading r = reading_at(0, i, 24 + i % 7);
        store_put_reading(store, &r);
    }
    committed(store, (uint64_t)from + 1, from + count);
}

static bool is_cut(struct store *store)
{
    for (int i = 0; i < 5000 && store_counts(store).wal_bytes > 0; i++)
        nap();
    return store_counts(store).wal_bytes == 0;
}

static int64_t rows(struct store *store)
{
    return schema_number(store->db, "SELECT count(*) FROM stored", -1);
}

static void a_ticket_is_reached(void **state)
{
    struct store *store = store_made(*state);
    put(store, 0, 10);
    uint64_t ticket = store_log_ask(store->sync);
    store_log_wait(store->sync, ticket);
    assert_true(store_log_reached(store->sync, ticket));
    assert_false(store_log_reached(store->sync, ticket + 1));
    store_close(store);
}

static void a_log_is_carried_over_and_cut(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int round = 0; round < 5; round++) {
        put(store, 100 * round, 100);
        assert_true(store_counts(store).wal_bytes > 0);
        store_log_carry_over(store->sync);
        assert_true(is_cut(store));
        assert_int_equal(rows(store), 100 * (round + 1));
    }
    put(store, 500, 100);
    store_close(store);
    store = store_made(room);
    assert_int_equal(rows(store), 600);
    store_close(store);
}

/* Commits go on while it happens, in whatever order the two come. */
static void both_at_once(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < 200; i++) {
        if (i % 3 == 0)
            store_log_carry_over(store->sync);
        put(store, 20 * i, 20);
    }
    store_close(store);
    store = store_made(room);
    assert_int_equal(rows(store), 4000);
    assert_int_equal(
        schema_number(store->db, "SELECT count(*) FROM pragma_quick_check WHERE quick_check = 'ok'", 0), 1);
    store_close(store);
}

/* A reader in the middle of a long question keeps the log from being cut, and from nothing else. */
static void a_reader_holds_nobody_up(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    sqlite3_stmt *asks;
    sqlite3 *reader;
    put(store, 0, 100);
    assert_int_equal(sqlite3_open(room->path, &reader), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(reader, "SELECT * FROM stored", -1, &asks, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(asks), SQLITE_ROW);
    store_log_carry_over(store->sync);
    for (int i = 1; i <= 20; i++)
        put(store, 100 * i, 100);
    sqlite3_finalize(asks);
    sqlite3_close(reader);
    store_log_carry_over(store->sync);
    assert_true(is_cut(store));
    assert_int_equal(rows(store), 2100);
    store_close(store);
}

/* The position that lets a ring on the card go follows the sync. */
static void with_every_record_safe_the_position_follows(void **state)
{
    struct room *room = *state;
    room->site.store.sync = STORE_SYNC_EVERY;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 0, 24);
    uint64_t safe;
    store_put_reading(store, &r);
    assert_int_equal(store_commit(store, 7, at(1), true, &safe), STATUS_OK);
    if (safe != 7)
        assert_true(store_deadline(store).ms <= at(1).mono.ms + 100);
    for (int i = 0; i < 5000 && safe != 7; i++) {
        nap();
        assert_int_equal(store_commit(store, 7, at(2), false, &safe), STATUS_OK);
    }
    assert_int_equal(safe, 7);
    assert_int_equal(store_deadline(store).ms, MONO_NEVER.ms);
    store_put_reading(store, &(struct reading){ .stream = 0, .t = { T0 + 5000 }, .sent = 1, .value = 1 });
    assert_int_equal(store_commit_last(store, 9, at(3), &safe), STATUS_OK);
    assert_int_equal(safe, 9);
    store_close(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_ticket_is_reached, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(a_log_is_carried_over_and_cut, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(both_at_once, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(a_reader_holds_nobody_up, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(with_every_record_safe_the_position_follows, room_setup,
                                        room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
