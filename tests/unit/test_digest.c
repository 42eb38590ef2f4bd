/* Texts that tell of several things: lines, what does not fit, what the summary names. */
#include "courier_rig.h"

#include "app/digest.h"
#include "wire/json.h"

static struct courier_rig rig;

static int setup(void **state)
{
    *state = &rig;
    rig_make(&rig);
    rig.room.site.notify.command = NULL;
    rig_boot(&rig);
    return 0;
}

static int teardown(void **state)
{
    rig_shut(*state);
    rig_remove(*state);
    return 0;
}

static bool is_json(const char *s)
{
    struct json_doc doc;
    if (json_doc_parse(s, strlen(s), &doc, NULL) != STATUS_OK)
        return false;
    json_doc_fini(&doc);
    return true;
}

static void many_lines_are_cut_whole(void **state)
{
    static struct digest_held held;
    struct outbox_item item = { .at = { NOON } }, out;
    (void)state;
    memset(&held, 0, sizeof held);
    for (int i = 0; i < 60; i++) {
        snprintf(item.ref, sizeof item.ref, "tank/%d/temp-low", i);
        snprintf(
            item.text, sizeof item.text,
            "ALERT, low priority - tank/%d: \"so\" says the first line, which is not short at all.\nmore", i);
        digest_held_add(&held, &item);
    }
    assert_int_equal(held.count, 48);
    assert_int_equal(held.left_out, 12);
    digest_held(&held, (utc_t){ NOON }, &out);
    assert_true(is_json(out.json));
    assert_non_null(strstr(out.text, " more: lentic alerts --all lists them.\n"));
    assert_null(strstr(out.text, "more\n- "));
    assert_string_equal(out.ref, "digest");
}

static void summary_names_what_stands(void **state)
{
    struct courier_rig *r = *state;
    struct command shelve = engine_tank_command(COMMAND_SHELVE);
    struct outbox_item out;
    struct why why;
    rig_alert(r, KIND_STORE_FAILING, true);
    rig_wait(r, MS_PER_DAY);
    rig_alert(r, KIND_DELIVERY_FAILED, true);
    rig_alert(r, KIND_INBOX_FULL, true);
    shelve.place = 2;
    shelve.alert = site_alert_find(&r->room.site, "lentic/inbox-full", 17);
    shelve.minutes = 90;
    strcpy(shelve.who, "mara");
    strcpy(shelve.why, "new disk comes");
    assert_int_equal(engine_command(r->pump.engine, &shelve, r->now, &r->pump.fx, &why), STATUS_OK);
    struct command service = engine_tank_command(COMMAND_SERVICE);
    assert_int_equal(engine_command(r->pump.engine, &service, r->now, &r->pump.fx, &why), STATUS_OK);
    digest_summary(&r->room.site, &r->pump, r->now, &out);
    assert_non_null(strstr(out.text, "2 alerts were raised in the last day. What stands now:\n"));
    assert_non_null(strstr(out.text, "- active for over a day (1 d): lentic: store cannot be written"));
    assert_non_null(strstr(out.text, "- active (5 min): lentic: messages not delivered"));
    assert_non_null(strstr(out.text, "- put aside: lentic/inbox-full, until Mon 13:4"));
    assert_non_null(strstr(out.text, ", by mara (new disk comes)\n"));
    assert_non_null(strstr(out.text, "- service window: tank/a1, until Mon 13:1"));
    assert_string_equal(out.ref, "summary");
    assert_true(is_json(out.json));
}

static void times_of_day_are_local(void **state)
{
    char buf[DIGEST_CLOCK_MAX];
    (void)state;
    assert_string_equal(digest_clock((utc_t){ NOON }, buf, sizeof buf), "Sun 12:00");
    clock_set_timezone("NZST-12");
    assert_string_equal(digest_clock((utc_t){ NOON + MS_PER_MIN }, buf, sizeof buf), "Mon 00:01");
    clock_set_timezone("UTC");
}

static void messages_are_named_by_their_kind(void **state)
{
    struct courier_rig *r = *state;
    static char buf[16384];
    static const char *const kinds[][2] = { { "test", "\"test\"" },
                                            { "digest", "\"digest\"" },
                                            { "summary", "\"summary\"" },
                                            { "tank/a1/leak", "\"alert\"" } };
    struct outbox_item item = { .at = { NOON }, .json = "{}", .text = "title \"one\"\nrest\n" };
    r->room.site.notify.format = NOTIFY_AS_JSON;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        struct text out = text_over(buf, sizeof buf);
        char wanted[64];
        strcpy(item.ref, kinds[i][0]);
        digest_compose(&r->room.site, &item, (utc_t){ NOON + 90000 }, &out);
        snprintf(wanted, sizeof wanted, "{\"message\":%s,", kinds[i][1]);
        assert_memory_equal(buf, wanted, strlen(wanted));
        assert_non_null(strstr(buf, "\"late_s\":90,\"title\":\"title \\\"one\\\"\",\"text\":"));
        assert_true(is_json(buf));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(many_lines_are_cut_whole, setup, teardown),
        cmocka_unit_test_setup_teardown(summary_names_what_stands, setup, teardown),
        cmocka_unit_test_setup_teardown(times_of_day_are_local, setup, teardown),
        cmocka_unit_test_setup_teardown(messages_are_named_by_their_kind, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
