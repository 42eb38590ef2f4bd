/* What reaches people, and when: through a real command and a real store. */
#include "courier_rig.h"

static struct courier_rig rig;

static int setup(void **state)
{
    *state = &rig;
    rig_make(&rig);
    return 0;
}

static int teardown(void **state)
{
    rig_shut(*state);
    rig_remove(*state);
    return 0;
}

static void give_priority(struct courier_rig *r, const char *ref, enum priority priority)
{
    int slot = site_alert_find(&r->room.site, ref, strlen(ref));
    assert_true(slot >= 0);
    r->room.site.alerts[slot].settings.priority = priority;
}

static void begin_at(struct courier_rig *r, int hour, int minute)
{
    r->now.utc.ms = NOON + ((hour - 12) * 60 + minute) * MS_PER_MIN;
    rig_boot(r);
}

static void quiet_from_22_to_7(struct courier_rig *r)
{
    r->room.site.notify.quiet_from_min = 22 * 60;
    r->room.site.notify.quiet_to_min = 7 * 60;
}

static void an_alert_and_its_end_arrive(void **state)
{
    struct courier_rig *r = *state;
    rig_boot(r);
    rig_alert(r, KIND_STORE_FAILING, true);
    const char *got = rig_got(r);
    assert_non_null(strstr(got, "ALERT, medium priority - lentic: store cannot be written.\n"));
    assert_non_null(strstr(got, "Seen: so the test says.\n"));
    assert_non_null(strstr(got, "\nMillrace, Sun 12:0"));
    assert_null(strstr(got, "delivered only"));
    rig_alert(r, KIND_STORE_FAILING, false);
    assert_non_null(strstr(rig_got(r), "OVER - lentic: store cannot be written"));
    rig_wait(r, MS_PER_HOUR);
    assert_string_equal(rig_got(r), "");
}

static void json_when_asked_for(void **state)
{
    struct courier_rig *r = *state;
    r->room.site.notify.format = NOTIFY_AS_JSON;
    rig_script(r, "env | sort >> %1$s; cat >> %1$s");
    rig_boot(r);
    rig_alert(r, KIND_STORE_FAILING, true);
    const char *got = rig_got(r);
    assert_non_null(strstr(got,
                           "LENTIC_MESSAGE=json\nLENTIC_PRIORITY=medium\nLENTIC_REF=lentic/store-failing\n"
                           "LENTIC_SITE=millrace\n"));
    assert_non_null(
        strstr(got, "{\"message\":\"alert\",\"site\":\"millrace\",\"name\":\"Millrace\","
                    "\"ref\":\"lentic/store-failing\",\"priority\":\"medium\",\"t\":\"2026-03-01T12:0"));
    assert_non_null(strstr(got, "\"title\":\"ALERT, medium priority - lentic: store cannot be written.\""));
    assert_non_null(strstr(got, "\"body\":{\"t\":"));
    assert_non_null(strstr(got, "\"announced\":true,"));
    assert_non_null(strstr(got, "}}\n"));
}

static void a_failing_command_is_tried_again(void **state)
{
    struct courier_rig *r = *state;
    rig_script(r, "cat > /dev/null; echo busy; exit 9");
    rig_boot(r);
    pump_service(&r->pump, KIND_STORE_FAILING, true, "so the test says", r->now);
    rig_wait(r, MS_PER_MIN);
    assert_int_equal(r->courier.failures, 1);
    assert_non_null(strstr(r->courier.reason, "exit code 9: busy"));
    rig_wait(r, MS_PER_MIN);
    assert_int_equal(r->courier.failures, 2);
    rig_script(r, "cat >> %s");
    rig_wait(r, 30 * MS_PER_S);
    assert_int_equal(r->courier.failures, 2);
    rig_wait(r, 2 * MS_PER_MIN);
    assert_int_equal(r->courier.failures, 0);
    assert_non_null(strstr(rig_got(r), "(could be delivered only at Sun 12:0"));
}

static void low_priority_waits_for_the_morning(void **state)
{
    struct courier_rig *r = *state;
    quiet_from_22_to_7(r);
    give_priority(r, "lentic/store-failing", PRIORITY_LOW);
    give_priority(r, "lentic/inbox-full", PRIORITY_LOW);
    begin_at(r, 23, 0);
    rig_alert(r, KIND_STORE_FAILING, true);
    rig_alert(r, KIND_STORE_FAILING, false);
    rig_alert(r, KIND_INBOX_FULL, true);
    assert_string_equal(rig_got(r), "");
    rig_shut(r);
    rig_boot(r);
    rig_wait(r, 7 * MS_PER_HOUR);
    assert_string_equal(rig_got(r), "");
    rig_wait(r, MS_PER_HOUR);
    const char *got = rig_got(r);
    assert_non_null(strstr(got, "From the quiet hours, low priority:\n"));
    assert_non_null(
        strstr(got, "- Sun 23:06 OVER - lentic: store cannot be written. (2 messages, this is the last)\n"));
    assert_non_null(strstr(got, "ALERT, low priority - lentic: hand-over ring full.\n"));
    rig_wait(r, MS_PER_HOUR);
    assert_string_equal(rig_got(r), "");
}

static void medium_and_high_do_not_wait(void **state)
{
    struct courier_rig *r = *state;
    quiet_from_22_to_7(r);
    begin_at(r, 23, 0);
    rig_alert(r, KIND_STORE_FAILING, true);
    assert_non_null(strstr(rig_got(r), "ALERT, medium"));
    rig_alert(r, KIND_BROKER_DOWN, true);
    assert_non_null(strstr(rig_got(r), "ALERT, high"));
}

static void a_clock_not_believed_holds_nothing(void **state)
{
    struct courier_rig *r = *state;
    quiet_from_22_to_7(r);
    give_priority(r, "lentic/store-failing", PRIORITY_LOW);
    r->now.trusted = false;
    begin_at(r, 23, 0);
    rig_alert(r, KIND_STORE_FAILING, true);
    assert_non_null(strstr(rig_got(r), "ALERT, low"));
}

static void quiet_hours_over_midnight_and_by_day(void **state)
{
    struct courier_rig *r = *state;
    quiet_from_22_to_7(r);
    rig_boot(r);
    assert_false(courier_is_quiet(&r->courier, (utc_t){ NOON }));
    assert_false(courier_is_quiet(&r->courier, (utc_t){ NOON + 10 * MS_PER_HOUR - 1 }));
    assert_true(courier_is_quiet(&r->courier, (utc_t){ NOON + 10 * MS_PER_HOUR }));
    assert_true(courier_is_quiet(&r->courier, (utc_t){ NOON + 19 * MS_PER_HOUR - 1 }));
    assert_false(courier_is_quiet(&r->courier, (utc_t){ NOON + 19 * MS_PER_HOUR }));
    r->room.site.notify.quiet_from_min = 11 * 60;
    r->room.site.notify.quiet_to_min = 13 * 60;
    assert_true(courier_is_quiet(&r->courier, (utc_t){ NOON }));
    assert_false(courier_is_quiet(&r->courier, (utc_t){ NOON + MS_PER_HOUR }));
}

static void the_summary_comes_once_a_day(void **state)
{
    struct courier_rig *r = *state;
    r->room.site.notify.summary_min = 13 * 60;
    rig_boot(r);
    rig_wait(r, 59 * MS_PER_MIN);
    assert_string_equal(rig_got(r), "");
    rig_wait(r, MS_PER_MIN);
    assert_non_null(strstr(rig_got(r), "Nothing stands. 0 alerts were raised in the last day.\n"));
    rig_shut(r);
    rig_boot(r);
    rig_wait(r, 23 * MS_PER_HOUR);
    assert_string_equal(rig_got(r), "");
    rig_wait(r, 2 * MS_PER_HOUR);
    assert_non_null(strstr(rig_got(r), "Nothing stands."));
}

static void the_time_of_the_summary(void **state)
{
    const struct notify_settings at_one = { .summary_min = 60 }, never = { .summary_min = -1 };
    (void)state;
    rig_boot(*state);
    assert_int_equal(courier_summary_at(&at_one, (utc_t){ NOON + 999 }).ms, NOON - 11 * MS_PER_HOUR);
    assert_int_equal(courier_summary_at(&at_one, (utc_t){ NOON + 13 * MS_PER_HOUR }).ms,
                     NOON + 13 * MS_PER_HOUR);
    assert_int_equal(courier_summary_at(&at_one, (utc_t){ NOON + 13 * MS_PER_HOUR - 1 }).ms,
                     NOON - 11 * MS_PER_HOUR);
    assert_false(utc_is_set(courier_summary_at(&never, (utc_t){ NOON })));
}

static void event(struct courier_rig *r, enum event_kind kind)
{
    struct effect e = { .kind = EFFECT_EVENT, .t = r->now.utc };
    e.u.event = (struct event){
        .kind = kind, .place = 2, .quantity = Q_COUNT, .text = "test message, asked for by mara"
    };
    courier_effect(&r->courier, &e);
    rig_settle(r);
}

static void a_test_is_tried_once_and_answered(void **state)
{
    struct courier_rig *r = *state;
    struct event result;
    rig_boot(r);
    event(r, EVENT_TEST);
    assert_non_null(strstr(rig_got(r), "TEST - test message, asked for by mara.\n"));
    assert_true(courier_take_test(&r->courier, &result));
    assert_true(result.value == 1.0);
    assert_false(courier_take_test(&r->courier, &result));
    rig_script(r, "exit 7");
    event(r, EVENT_TEST);
    assert_true(courier_take_test(&r->courier, &result));
    assert_true(result.value == 0.0);
    assert_non_null(strstr(result.text, "exit code 7"));
    rig_wait(r, MS_PER_HOUR);
    assert_false(courier_take_test(&r->courier, &result));
    assert_int_equal(r->courier.failures, 0);
}

static void a_flood_is_told_in_digests(void **state)
{
    struct courier_rig *r = *state;
    rig_boot(r);
    rig_alert(r, KIND_STORE_FAILING, true);
    rig_got(r);
    event(r, EVENT_FLOOD_BEGIN);
    assert_string_equal(rig_got(r), "");
    rig_wait(r, MS_PER_MIN);
    const char *got = rig_got(r);
    assert_non_null(strstr(got, "MANY ALERTS AT ONCE"));
    assert_non_null(strstr(got, "\n- lentic: store cannot be written: so the test says\n"));
    event(r, EVENT_FLOOD_END);
    assert_string_equal(rig_got(r), "");
    event(r, EVENT_FLOOD_BEGIN);
    rig_wait(r, MS_PER_MIN);
    rig_alert(r, KIND_DELIVERY_FAILED, true);
    rig_got(r);
    event(r, EVENT_FLOOD_END);
    got = rig_got(r);
    assert_non_null(strstr(got, "CALMER AGAIN"));
    assert_non_null(strstr(got, "messages not delivered"));
    assert_null(strstr(got, "store cannot"));
}

static void without_a_command_nothing_is_kept(void **state)
{
    struct courier_rig *r = *state;
    struct outbox_item item;
    r->room.site.notify.command = NULL;
    rig_boot(r);
    rig_alert(r, KIND_STORE_FAILING, true);
    assert_int_equal(store_outbox_next(r->store, (utc_t){ NOON + MS_PER_DAY }, &item), STATUS_NONE);
    assert_int_equal(courier_deadline(&r->courier).ms, MONO_NEVER.ms);
    assert_int_equal(courier_fd(&r->courier), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_alert_and_its_end_arrive, setup, teardown),
        cmocka_unit_test_setup_teardown(json_when_asked_for, setup, teardown),
        cmocka_unit_test_setup_teardown(a_failing_command_is_tried_again, setup, teardown),
        cmocka_unit_test_setup_teardown(low_priority_waits_for_the_morning, setup, teardown),
        cmocka_unit_test_setup_teardown(medium_and_high_do_not_wait, setup, teardown),
        cmocka_unit_test_setup_teardown(a_clock_not_believed_holds_nothing, setup, teardown),
        cmocka_unit_test_setup_teardown(quiet_hours_over_midnight_and_by_day, setup, teardown),
        cmocka_unit_test_setup_teardown(the_summary_comes_once_a_day, setup, teardown),
        cmocka_unit_test_setup_teardown(the_time_of_the_summary, setup, teardown),
        cmocka_unit_test_setup_teardown(a_test_is_tried_once_and_answered, setup, teardown),
        cmocka_unit_test_setup_teardown(a_flood_is_told_in_digests, setup, teardown),
        cmocka_unit_test_setup_teardown(without_a_command_nothing_is_kept, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
