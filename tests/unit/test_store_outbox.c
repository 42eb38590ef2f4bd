/* Messages to people: what is due when, what is held, what gives way. */
#include "store_fixture.h"

#include "adapters/store_outbox.h"

static void most_urgent_first_and_again_later(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct outbox_item item = {
        .at = { T0 }, .priority = PRIORITY_LOW, .ref = "test", .json = "{}", .text = "a"
    };
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 }, &item), STATUS_NONE);
    assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    item.priority = PRIORITY_HIGH;
    strcpy(item.text, "urgent");
    assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 }, &item), STATUS_OK);
    assert_string_equal(item.text, "urgent");
    assert_int_equal(store_outbox_retry(store, item.id, (utc_t){ T0 + 5000 }), STATUS_OK);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 }, &item), STATUS_OK);
    assert_string_equal(item.text, "a");
    assert_int_equal(store_outbox_done(store, item.id), STATUS_OK);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 + 4999 }, &item), STATUS_NONE);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 + 5000 }, &item), STATUS_OK);
    assert_int_equal(item.attempts, 1);
    store_close(store);
}

static void collect(void *context, const struct outbox_item *item)
{
    strcat(context, item->ref);
    strcat(context, " ");
    assert_true(item->held);
}

static void what_is_held_waits_for_its_digest(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct outbox_item item = { .at = { T0 }, .held = true, .ref = "one", .json = "{}", .text = "a" };
    struct outbox_item digest = { .at = { T0 + 9 }, .ref = "digest", .json = "{}", .text = "both" }, found;
    char refs[200] = "";
    assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    strcpy(item.ref, "two");
    assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 + 400 * MS_PER_DAY }, &found), STATUS_NONE);
    assert_int_equal(store_outbox_each_held(store, collect, refs), STATUS_OK);
    assert_string_equal(refs, "one two ");
    assert_int_equal(store_outbox_release(store, &digest), STATUS_OK);
    refs[0] = '\0';
    assert_int_equal(store_outbox_each_held(store, collect, refs), STATUS_OK);
    assert_string_equal(refs, "");
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 + 9 }, &found), STATUS_OK);
    assert_string_equal(found.ref, "digest");
    store_close(store);
}

static void a_full_outbox_keeps_what_is_urgent(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct outbox_item item = {
        .at = { T0 }, .priority = PRIORITY_HIGH, .ref = "first", .json = "{}", .text = "a"
    };
    assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    item.priority = PRIORITY_LOW;
    for (int i = 0; i < STORE_OUTBOX_MAX + 4; i++) {
        snprintf(item.ref, sizeof item.ref, "low %d", i);
        assert_int_equal(store_outbox_add(store, &item), STATUS_OK);
    }
    assert_int_equal(store_counts(store).outbox_dropped, 5);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 }, &item), STATUS_OK);
    assert_string_equal(item.ref, "first");
    assert_int_equal(store_outbox_done(store, item.id), STATUS_OK);
    assert_int_equal(store_outbox_next(store, (utc_t){ T0 }, &item), STATUS_OK);
    assert_string_equal(item.ref, "low 5");
    store_close(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(most_urgent_first_and_again_later, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(what_is_held_waits_for_its_digest, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(a_full_outbox_keeps_what_is_urgent, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
