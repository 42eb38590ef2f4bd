/* Hand tests out of the store: in order, of that place, quantity and span, and only those that count. */
#include "store_fixture.h"

#include "adapters/store_tests.h"

static struct store_reader *reader;
static struct test_row rows[8];
static int count;

static void note(struct store *store, int64_t id, int at_s, double gh, int64_t corrects)
{
    struct journal_entry e;
    journal_clear(&e);
    e.id = id;
    e.kind = JOURNAL_TEST;
    e.corrects = corrects;
    e.at = e.written = (utc_t){ T0 + at_s * 1000 };
    snprintf(e.place, sizeof e.place, "tank/a1");
    snprintf(e.lot, sizeof e.lot, "L%d", (int)id);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", gh, id == 1 ? NAN : 0.5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "kh", gh / 2, 0.5), STATUS_OK);
    assert_int_equal(store_put_journal(store, &e, e.at), STATUS_OK);
}

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    room_make(room);
    struct store *store = store_made(room);
    note(store, 1, 300, 6, 0);
    note(store, 2, 100, 5, 0);
    note(store, 3, 200, 9, 0);
    note(store, 4, 200, 4, 3);
    struct journal_entry gone = { .withdraws = 2, .written = { T0 + 400000 } };
    assert_int_equal(store_put_journal(store, &gone, gone.written), STATUS_OK);
    store_close(store);
    assert_int_equal(store_reader_open(room->path, &reader, NULL), STATUS_OK);
    *state = room;
    return 0;
}

static int teardown(void **state)
{
    store_reader_close(reader);
    room_remove(*state);
    free(*state);
    return 0;
}

static void hear(void *context, const struct test_row *row)
{
    (void)context;
    rows[count++] = *row;
}

static int ask(const char *place, const char *quantity, int from_s, int to_s)
{
    count = 0;
    assert_int_equal(store_reader_tests(reader, place, quantity, (utc_t){ T0 + from_s * 1000 },
                                        (utc_t){ T0 + to_s * 1000 }, hear, NULL),
                     STATUS_OK);
    return count;
}

static void those_that_count_in_order(void **state)
{
    (void)state;
    assert_int_equal(ask("tank/a1", "gh", 0, 1000), 2);
    assert_int_equal(rows[0].entry, 4);
    assert_true(rows[0].value == 4 && rows[0].sd == 0.5 && rows[0].t.ms == T0 + 200000);
    assert_string_equal(rows[0].lot, "L4");
    assert_string_equal(rows[0].kit, "");
    assert_true(rows[1].value == 6 && isnan(rows[1].sd));
    assert_int_equal(ask("tank/a1", "kh", 0, 1000), 2);
    assert_true(rows[1].value == 3);
}

static void of_that_span_and_place(void **state)
{
    (void)state;
    assert_int_equal(ask("tank/a1", "gh", 200, 300), 1); /* the end is not in it */
    assert_int_equal(ask("tank/a2", "gh", 0, 1000), 0);
    assert_int_equal(ask("tank/a1", "no3", 0, 1000), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(those_that_count_in_order, setup, teardown),
        cmocka_unit_test_setup_teardown(of_that_span_and_place, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
