/* A reader of another process is seen and named while it reads, and only then. */
#include "store_fixture.h"

#include <sqlite3.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#include "adapters/store_inside.h"
#include "adapters/store_readers.h"

/* Says a byte when it reads, and reads until it is told one. */
static void read_for_long(const char *path, int say, int hear)
{
    sqlite3 *db;
    char byte = 'r';
    bool reads = sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
                 sqlite3_exec(db, "BEGIN; SELECT count(*) FROM recent", NULL, NULL, NULL) == SQLITE_OK;
    if (!reads || write(say, &byte, 1) != 1 || read(hear, &byte, 1) != 1)
        _exit(1);
    sqlite3_close(db);
    _exit(0);
}

static void another_process_is_named_while_it_reads(void **state)
{
    struct room *room = *state;
    int up[2], down[2], status;
    char byte, words[64], wanted[64], log[200];
    assert_int_equal(pipe(up), 0);
    assert_int_equal(pipe(down), 0);
    struct store *store = store_made(room);
    store_close(store);
    pid_t other = fork(); /* before the store is open: its locks are none of a child's business */
    if (other == 0) {
        close(up[0]);
        close(down[1]);
        if (read(down[0], &byte, 1) == 1)
            read_for_long(room->path, up[1], down[0]);
        _exit(1);
    }
    store = store_made(room);
    assert_false(store_readers_tell(store->readers, words, sizeof words));
    assert_int_equal(write(down[1], "o", 1), 1);
    assert_int_equal(read(up[0], &byte, 1), 1);
    assert_true(store_readers_tell(store->readers, words, sizeof words));
    (void)snprintf(wanted, sizeof wanted, "process %d (test_store_read", other);
    assert_memory_equal(words, wanted, strlen(wanted));
    store_tell_log(store, log, sizeof log);
    assert_non_null(strstr(log, words));
    assert_int_equal(write(down[1], "e", 1), 1);
    assert_int_equal(waitpid(other, &status, 0), other);
    assert_int_equal(status, 0);
    assert_false(store_readers_tell(store->readers, words, sizeof words));
    store_tell_log(store, log, sizeof log);
    assert_non_null(strstr(log, "nobody else reads the store"));
    store_close(store);
    for (int i = 0; i < 2; i++) {
        close(up[i]);
        close(down[i]);
    }
}

static void without_a_store_nothing_is_told(void **state)
{
    (void)state;
    char words[64];
    int none = store_readers_watch("/nowhere/lentic.db");
    assert_int_equal(none, -1);
    assert_false(store_readers_tell(none, words, sizeof words));
    assert_int_equal(store_readers_end(none), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(another_process_is_named_while_it_reads, room_setup, room_teardown),
        cmocka_unit_test(without_a_store_nothing_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
