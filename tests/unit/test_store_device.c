/* Dated devices, and the readings of each. */
#include "store_fixture.h"

#include <sqlite3.h>

#include "adapters/store_device.h"

static char said[200];

static void keep(void *context, int stream, const char *device, utc_t since)
{
    (void)context;
    size_t n = strlen(said);
    snprintf(said + n, sizeof said - n, "%d %s %lld;", stream, device, (long long)(since.ms - T0) / 1000);
}

static int each_row(void *context, int columns, char **values, char **names)
{
    (void)context;
    (void)columns;
    (void)names;
    size_t n = strlen(said);
    snprintf(said + n, sizeof said - n, "%s;", values[0] == NULL ? "none" : values[0]);
    return 0;
}

static void dated_and_seen_in_the_readings(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    uint64_t committed;
    assert_int_equal(store_put_device(store, 1, "second", (utc_t){ T0 + 60000 }), STATUS_OK);
    assert_int_equal(store_put_device(store, 1, "frist", (utc_t){ T0 + 10000 }), STATUS_OK);
    assert_int_equal(store_put_device(store, 1, "first", (utc_t){ T0 + 10000 }), STATUS_OK); /* replaced */
    said[0] = '\0';
    assert_int_equal(store_each_device(store, keep, NULL), STATUS_OK);
    assert_string_equal(said, "1 first 10;1 second 60;");
    for (int i = 0; i < 3; i++) {
        struct reading r = { .stream = 1,
                             .t = { T0 + 30000 * i },
                             .sent = 1,
                             .value = 1,
                             .tests = verdict_set(0, TEST_SYNTAX, FLAG_GOOD),
                             .flag = FLAG_GOOD };
        store_put_reading(store, &r);
    }
    assert_int_equal(store_commit(store, 1, (struct now){ { T0 }, { 1 }, true }, true, &committed),
                     STATUS_OK);
    store_close(store);
    sqlite3 *db;
    assert_int_equal(sqlite3_open(room->path, &db), SQLITE_OK);
    said[0] = '\0';
    assert_int_equal(sqlite3_exec(db, "SELECT device FROM readings ORDER BY time", each_row, NULL, NULL),
                     SQLITE_OK);
    assert_string_equal(said, "none;first;second;");
    said[0] = '\0';
    assert_int_equal(sqlite3_exec(db, "SELECT device FROM devices ORDER BY since", each_row, NULL, NULL),
                     SQLITE_OK);
    assert_string_equal(said, "first;second;");
    sqlite3_close(db);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(dated_and_seen_in_the_readings, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
