/* The journal of a store becomes a diary; without a store it says so. */
#include "store_fixture.h"

#include "app/daybook.h"
#include "cli/read_diary.h"

static struct diary diary;

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    room_make(room);
    room->tanks[0] = (struct tank){ .id = "a1", .place = 0, .water = -1 };
    room->site.store.path = room->path;
    struct store *store = store_made(room);
    for (int i = 1; i <= 2; i++) {
        struct journal_entry e;
        journal_clear(&e);
        e.id = i;
        e.kind = i == 1 ? JOURNAL_CHANGE : JOURNAL_TEST;
        e.at = e.written = (utc_t){ T0 - i * MS_PER_DAY };
        e.litres = i == 1 ? 3 : (double)NAN;
        snprintf(e.place, sizeof e.place, "tank/a1");
        if (i == 2)
            assert_int_equal(journal_put(&e, JOURNAL_VALUE, "no3", 12, 3), STATUS_OK);
        assert_int_equal(store_put_journal(store, &e, e.at), STATUS_OK);
    }
    store_close(store);
    assert_true(daybook_make(&diary, &room->site, (utc_t){ T0 }));
    *state = room;
    return 0;
}

static int teardown(void **state)
{
    daybook_free(&diary);
    room_remove(*state);
    free(*state);
    return 0;
}

static void what_was_noted(void **state)
{
    struct room *room = *state;
    assert_true(read_diary(&room->site, &diary));
    assert_int_equal(diary.tanks[0].changed.ms, T0 - MS_PER_DAY);
    assert_true(diary.tanks[0].changed_l == 3);
    assert_true(diary.tanks[0].tests[Q_NO3].value == 12);
}

static void there_is_no_store(void **state)
{
    struct room *room = *state;
    unlink(room->path);
    assert_false(read_diary(&room->site, &diary));
    room->site.store.path = NULL;
    assert_false(read_diary(&room->site, &diary));
    assert_false(utc_is_set(diary.tanks[0].changed));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_was_noted, setup, teardown),
        cmocka_unit_test_setup_teardown(there_is_no_store, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
