/* Copies of the store: of one moment, sound or none, put back without losing what was there. */
#include "store_fixture.h"

#include <fcntl.h>

#include "adapters/store_backup.h"

static char copy[128];

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    room_make(room);
    snprintf(copy, sizeof copy, "%s/copy.db", room->dir);
    *state = room;
    return 0;
}

static void put(struct store *store, int first, int last)
{
    for (int i = first; i < last; i++) {
        struct reading r = reading_at(0, i * 60, 24.0);
        store_put_reading(store, &r);
    }
    committed(store, (uint64_t)last, last * 60);
}

static bool is_there(const char *path)
{
    return access(path, F_OK) == 0;
}

static void a_copy_holds_what_was_committed_while_the_writer_stays(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct backup_facts facts;
    struct why why;
    char beside[140];
    put(store, 0, 500);
    assert_int_equal(store_backup(room->path, copy, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 500);
    assert_int_equal(facts.newest.ms, T0 + 499 * 60000);
    snprintf(beside, sizeof beside, "%s-wal", copy);
    assert_false(is_there(beside));
    put(store, 500, 600); /* the writer was not disturbed, the copy is of then */
    assert_int_equal(store_backup_check(copy, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 500);
    store_close(store);
}

static void a_copy_never_goes_over_another_file(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct backup_facts facts;
    struct why why;
    store_close(store);
    int fd = open(copy, O_CREAT | O_WRONLY, 0600);
    assert_int_equal(write(fd, "mine", 4), 4);
    close(fd);
    assert_int_equal(store_backup(room->path, copy, &facts, &why), STATUS_REFUSED);
    fd = open(copy, O_RDONLY);
    char left[8] = "";
    assert_int_equal(read(fd, left, sizeof left), 4);
    assert_string_equal(left, "mine");
    close(fd);
}

static void flip(const char *path, off_t at)
{
    int fd = open(path, O_RDWR);
    unsigned char bytes[256];
    assert_int_equal(pread(fd, bytes, sizeof bytes, at), sizeof bytes);
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] ^= 0x5a;
    assert_int_equal(pwrite(fd, bytes, sizeof bytes, at), sizeof bytes);
    close(fd);
}

static void a_damaged_store_gives_no_copy(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct backup_facts facts;
    struct why why;
    char part[140];
    put(store, 0, 5000);
    store_close(store);
    flip(room->path, 2048 * 30);
    assert_int_not_equal(store_backup(room->path, copy, &facts, &why), STATUS_OK);
    assert_true(strlen(why.text) > 10);
    snprintf(part, sizeof part, "%s.part", copy);
    assert_false(is_there(copy));
    assert_false(is_there(part));
}

static void what_is_no_store_is_refused(void **state)
{
    struct room *room = *state;
    struct backup_facts facts;
    struct why why;
    int fd = open(room->path, O_CREAT | O_WRONLY, 0600);
    char text[4096];
    memset(text, 'x', sizeof text);
    assert_int_equal(write(fd, text, sizeof text), sizeof text);
    close(fd);
    assert_int_not_equal(store_backup(room->path, copy, &facts, &why), STATUS_OK);
    assert_int_equal(store_backup("/nowhere/at/all", copy, &facts, &why), STATUS_IO);
    assert_non_null(strstr(why.text, "/nowhere/at/all"));
}

static void restoring_keeps_the_store_that_was_there(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct backup_facts facts;
    struct why why;
    char aside[160], wal[170];
    put(store, 0, 100);
    assert_int_equal(store_backup(room->path, copy, &facts, &why), STATUS_OK);
    put(store, 100, 300);
    store_close(store);
    assert_int_equal(store_restore(copy, room->path, aside, sizeof aside, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 100);
    assert_non_null(strstr(aside, ".replaced-1"));
    assert_int_equal(store_backup_check(aside, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 300);
    snprintf(wal, sizeof wal, "%s-wal", room->path);
    assert_false(is_there(wal));
    store = store_made(room); /* and the service goes on with it */
    put(store, 100, 101);
    store_close(store);
    assert_int_equal(store_backup_check(room->path, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 101);
}

static void a_bad_copy_leaves_the_store_in_place(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct backup_facts facts;
    struct why why;
    char aside[160];
    put(store, 0, 5000);
    assert_int_equal(store_backup(room->path, copy, &facts, &why), STATUS_OK);
    store_close(store);
    flip(copy, 2048 * 30);
    assert_int_not_equal(store_restore(copy, room->path, aside, sizeof aside, &facts, &why), STATUS_OK);
    assert_string_equal(aside, "");
    assert_int_equal(store_backup_check(room->path, &facts, &why), STATUS_OK);
    assert_int_equal(facts.readings, 5000);
}

#define IN_ROOM(test) cmocka_unit_test_setup_teardown(test, setup, room_teardown)
int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_ROOM(a_copy_holds_what_was_committed_while_the_writer_stays),
        IN_ROOM(a_copy_never_goes_over_another_file),
        IN_ROOM(a_damaged_store_gives_no_copy),
        IN_ROOM(what_is_no_store_is_refused),
        IN_ROOM(restoring_keeps_the_store_that_was_there),
        IN_ROOM(a_bad_copy_leaves_the_store_in_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
