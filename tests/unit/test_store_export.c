/* Every row of a span, and nothing besides. */
#include "store_fixture.h"

#include "adapters/store_export.h"

static struct store_reader *reader;

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    struct why why;
    room_make(room);
    struct store *store = store_made(room);
    for (int i = 0; i < 100; i++)
        for (int stream = 0; stream < 2; stream++) {
            struct reading r = reading_at(stream, i * 60, 24.0 + i);
            store_put_reading(store, &r);
        }
    const struct event e = { .kind = EVENT_CHANGE_SEEN, .text = "as \"asked\", twice" };
    store_hold_event(store, &e, (utc_t){ T0 + 5000 });
    committed(store, 1, 6000);
    store_close(store);
    assert_int_equal(store_reader_open(room->path, &reader, &why), STATUS_OK);
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

struct heard {
    int rows;
    bool later; /* within a place and quantity times grew */
    char time[32], quantity[16];
    double value;
};

static const struct export_cell *cell(const struct export_row *row, const char *name)
{
    for (int i = 0; i < row->count; i++)
        if (strcmp(row->names[i], name) == 0)
            return &row->cells[i];
    fail_msg("no column %s", name);
    return NULL;
}

static void hear(void *context, const struct export_row *row)
{
    struct heard *h = context;
    const char *time = cell(row, "time")->text, *quantity = cell(row, "quantity")->text;
    if (h->rows == 0 || strcmp(quantity, h->quantity) != 0)
        h->later = h->rows == 0 || h->later;
    else
        h->later = h->later && strcmp(time, h->time) > 0;
    snprintf(h->time, sizeof h->time, "%s", time);
    snprintf(h->quantity, sizeof h->quantity, "%s", quantity);
    h->value = cell(row, "value")->number;
    h->rows++;
}

static int export(struct heard *h, const char *place, const char *quantity, int from_s, int to_s)
{
    *h = (struct heard){ 0 };
    return store_reader_export(reader, EXPORT_READINGS, place, quantity, (utc_t){ T0 + from_s * 1000 },
                               (utc_t){ T0 + to_s * 1000 }, hear, h);
}

static void readings_of_a_span(void **state)
{
    struct heard h;
    (void)state;
    assert_int_equal(export(&h, NULL, NULL, 0, 6000), STATUS_OK);
    assert_int_equal(h.rows, 200);
    assert_true(h.later);
    assert_int_equal(export(&h, NULL, NULL, 60, 180), STATUS_OK); /* the end is not in it */
    assert_int_equal(h.rows, 4);
}

static void of_one_place_or_quantity(void **state)
{
    struct heard h;
    (void)state;
    assert_int_equal(export(&h, "tank/a1", "temp", 0, 6000), STATUS_OK);
    assert_int_equal(h.rows, 100);
    assert_string_equal(h.time, "2026-03-01T13:39:00.000Z");
    assert_true(h.value == 123.0);
    assert_int_equal(export(&h, "tank/zz", NULL, 0, 6000), STATUS_OK);
    assert_int_equal(h.rows, 0);
    assert_int_equal(export(&h, NULL, "ph", 0, 6000), STATUS_OK);
    assert_int_equal(h.rows, 0);
}

static void hear_test(void *context, const struct export_row *row)
{
    if (cell(row, "entry")->kind != EXPORT_WHOLE)
        return;
    ++*(int *)context;
    assert_string_equal(cell(row, "quantity")->text, "gh");
    assert_string_equal(cell(row, "unit")->text, "°dH");
    assert_string_equal(cell(row, "kit")->text, "drops-1");
    assert_int_equal(cell(row, "probe")->kind, EXPORT_NULL);
    assert_true(cell(row, "value")->number == 5 && cell(row, "uncertainty")->number == 0.5);
    assert_int_equal(cell(row, "entry")->whole, 4);
}

/* The one that was corrected counts no longer. */
static void hand_tests_are_readings_too(void **state)
{
    struct room *room = *state;
    int tests = 0;
    store_reader_close(reader);
    struct store *store = store_made(room);
    for (int id = 3; id <= 4; id++) {
        struct journal_entry e;
        journal_clear(&e);
        e.id = id;
        e.kind = JOURNAL_TEST;
        e.corrects = id == 4 ? 3 : 0;
        e.at = e.written = (utc_t){ T0 + 60000 };
        snprintf(e.place, sizeof e.place, "tank/a1");
        snprintf(e.kit, sizeof e.kit, "drops-1");
        assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", id + 1, 0.5), STATUS_OK);
        assert_int_equal(store_put_journal(store, &e, e.at), STATUS_OK);
    }
    store_close(store);
    assert_int_equal(store_reader_open(room->path, &reader, NULL), STATUS_OK);
    assert_int_equal(store_reader_export(reader, EXPORT_READINGS, "tank/a1", NULL, (utc_t){ T0 },
                                         (utc_t){ T0 + MS_PER_DAY }, hear_test, &tests),
                     STATUS_OK);
    assert_int_equal(tests, 1);
    assert_int_equal(store_reader_export(reader, EXPORT_READINGS, "tank/a2", "gh", (utc_t){ T0 },
                                         (utc_t){ T0 + MS_PER_DAY }, hear_test, &tests),
                     STATUS_OK);
    assert_int_equal(tests, 1);
}

static void count_event(void *context, const struct export_row *row)
{
    ++*(int *)context;
    assert_string_equal(cell(row, "text")->text, "as \"asked\", twice");
}

static void every_kind_can_be_asked(void **state)
{
    (void)state;
    utc_t from = { T0 - 1000 }, to = { T0 + MS_PER_DAY };
    int events = 0;
    assert_int_equal(store_reader_export(reader, EXPORT_EVENTS, NULL, NULL, from, to, count_event, &events),
                     STATUS_OK);
    assert_int_equal(events, 1);
    const enum export_what empty[] = { EXPORT_ALERTS, EXPORT_NOTES, EXPORT_DAYS, EXPORT_QUARTER_HOURS };
    for (size_t i = 0; i < sizeof empty / sizeof *empty; i++) {
        struct heard h = { 0 };
        assert_int_equal(store_reader_export(reader, empty[i], NULL, NULL, from, to, hear, &h), STATUS_OK);
        assert_int_equal(h.rows, 0);
    }
}

#define IN_ROOM(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_ROOM(readings_of_a_span),
        IN_ROOM(of_one_place_or_quantity),
        IN_ROOM(hand_tests_are_readings_too),
        IN_ROOM(every_kind_can_be_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
