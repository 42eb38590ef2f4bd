#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "wire/commands.h"
#include "site_sketch.h"

static struct arena arena;
static struct site site;
static struct probe_value value;
static struct probe_entry entry;
static struct command c;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    value = sketch_value(NULL, Q_TEMP, "Cel");
    entry = sketch_entry(&arena, "probes/{tank}/temp", -1, &value, 1);
    site = sketch_site(&entry, 1);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    site_fini(&site);
    arena_fini(&arena);
    return 0;
}

static enum status parse(const char *verb, const char *payload)
{
    why.text[0] = '\0';
    return commands_parse(&site, verb, strlen(verb), payload, strlen(payload), &c, &why);
}

static void accept(const char *verb, const char *payload)
{
    if (parse(verb, payload) != STATUS_OK)
        fail_msg("%s %s: %s", verb, payload, why.text);
}

static void refuse(const char *verb, const char *payload, const char *with)
{
    assert_int_equal(parse(verb, payload), STATUS_INVALID);
    if (strstr(why.text, with) == NULL)
        fail_msg("%s %s: says \"%s\", want \"%s\"", verb, payload, why.text, with);
}

static void alerts_are_named_three_ways(void **state)
{
    (void)state;
    int want = site_alert_find(&site, "tank/a1/temp-low", 16);
    assert_true(want >= 0);
    accept("ack", "{\"id\":\"tank/a1/temp-low\"}");
    assert_true(c.alert == want && c.place == AT_A1 && c.verb == COMMAND_ACK);
    accept("ack", "{\"place\":\"tank/a1\",\"kind\":\"temp-low\"}");
    assert_true(c.alert == want && c.place == AT_A1);
    accept("ack", "{\"tank\":\"a1\",\"kind\":\"temp-low\"}");
    assert_true(c.alert == want);
    accept("ack", "{\"tank\":\"a1\"}");
    assert_true(c.alert == -1 && c.place == AT_A1);
    accept("ack", "{\"place\":\"room\"}");
    assert_int_equal(c.place, AT_ROOM);
}

static void shelving_with_who_and_why(void **state)
{
    (void)state;
    accept("shelve",
           "{\"id\":\"tank/a1/temp-low\",\"minutes\":90.5,\"who\":\"night\\nshift\",\"why\":\"heater "
           "\\u0000swapped\"}");
    assert_true(c.minutes == 90.5);
    assert_string_equal(c.who, "night shift");
    assert_string_equal(c.why, "heater  swapped");
}

static void long_words_are_cut(void **state)
{
    (void)state;
    char payload[2000] = "{\"tank\":\"a1\",\"who\":\"x";
    for (int i = 0; i < 400; i++)
        strcat(payload, "°");
    strcat(payload, "\"}");
    accept("ack", payload);
    assert_in_range(strlen(c.who), sizeof c.who - 2, sizeof c.who - 1);
    assert_string_equal(c.who + strlen(c.who) - 2, "°");
}

static void notes(void **state)
{
    (void)state;
    accept("note", "{\"tank\":\"b2\",\"what\":\"test\",\"quantity\":\"kh\",\"value\":4.5,\"at\":\"2026-03-"
                   "01T13:00:00+01:00\"}");
    assert_true(journal_amount(&c.note, JOURNAL_VALUE, "kh") == 4.5 &&
                c.note.at.ms == INT64_C(1772366400000) && c.place == AT_B2);
    assert_string_equal(c.note.place, "tank/b2");
    accept("note", "{\"tank\":\"b2\",\"what\":\"change\",\"litres\":6,\"grams\":0,\"at\":1772366400}");
    assert_true(c.note.litres == 6 && c.note.grams == 0 && c.note.at.ms == INT64_C(1772366400000));
    assert_int_equal(c.note.kind, JOURNAL_CHANGE);
    accept("note", "{\"what\":\"remark\",\"text\":\"all well\"}");
    assert_int_equal(c.place, -1);
    assert_false(utc_is_set(c.note.at));
}

static void calibrations(void **state)
{
    (void)state;
    accept("calibrate", "{\"tank\":\"a1\",\"quantity\":\"temp\",\"value\":24.2}");
    assert_true(c.point_count == 1 && c.points[0].is == 24.2 && isnan(c.points[0].raw) && c.stream == -1);
    accept("calibrate",
           "{\"tank\":\"a1\",\"quantity\":\"ph\",\"points\":[{\"raw\":171.5,\"is\":4.01,\"temp\":22},"
           "{\"raw\":3,\"is\":6.86}],\"from\":\"2026-03-01T13:00:00+01:00\"}");
    assert_true(c.point_count == 2 && c.points[0].raw == 171.5 && c.points[0].temp_c == 22 &&
                c.points[1].is == 6.86 && isnan(c.points[1].temp_c));
    assert_true(c.back_to.ms == INT64_C(1772366400000));
    accept("calibrate", "{\"tank\":\"a1\",\"quantity\":\"temp\",\"offset\":-0.3}");
    assert_true(c.offset == -0.3 && isnan(c.gain) && c.point_count == 0);
    accept("calibrate", "{\"tank\":\"a1\",\"quantity\":\"temp\",\"undo\":true}");
    assert_true(c.undo);
    refuse("calibrate", "{\"tank\":\"a1\",\"quantity\":\"ph\",\"points\":[]}", "one to three");
    refuse("calibrate", "{\"tank\":\"a1\",\"quantity\":\"ph\",\"points\":[{\"raw\":3}]}", "needs \"is\"");
    refuse("calibrate",
           "{\"tank\":\"a1\",\"quantity\":\"ph\",\"points\":[{\"is\":1},{\"is\":2},{\"is\":3},{\"is\":4}]}",
           "one to three");
    refuse("calibrate", "{\"tank\":\"a1\",\"quantity\":\"ph\",\"undo\":1}", "true or false");
    refuse("calibrate", "{\"probe\":\"no/such\",\"offset\":1}", "no probe \"no/such\"");
    refuse("calibrate", "{\"quantity\":\"ph\",\"offset\":1}", "needs a place");
}

static void nothing_given(void **state)
{
    (void)state;
    accept("test", "");
    assert_true(c.place == -1 && c.alert == -1 && c.quantity == Q_COUNT);
    assert_true(isnan(c.minutes) && isnan(c.value));
    assert_string_equal(c.who, "");
    accept("ack", " \r\n");
    accept("ack", "{}");
}

static void refused_with_a_sentence(void **state)
{
    (void)state;
    refuse("Ack", "{}", "there is no command \"Ack\"");
    refuse("", "{}", "there is no command");
    refuse("ack", "[]x", "not JSON");
    refuse("ack", "[1]", "not a list");
    refuse("ack", "[]", "not a list");
    refuse("ack", "now", "not a JSON object");
    refuse("ack", "{\"tank\":\"a1\"", "not JSON");
    refuse("ack", "{\"tank\":\"a1\",\"tank\":\"a2\"}", "not JSON");
    refuse("shelve", "{\"tank\":\"a1\",\"hours\":2}", "unknown member \"hours\"");
    refuse("ack", "{\"tank\":\"zz\"}", "there is no place \"zz\"");
    refuse("ack", "{\"place\":\"tank/zz\"}", "there is no place \"tank/zz\"");
    refuse("ack", "{\"tank\":1}", "\"tank\" must be text");
    refuse("ack", "{\"tank\":\"a1\",\"kind\":\"temp-odd\"}", "there is no alert \"tank/a1/temp-odd\"");
    refuse("ack", "{\"kind\":\"temp-low\"}", "\"kind\" needs");
    refuse("ack", "{\"id\":\"tank/a1/temp-low\",\"tank\":\"a2\"}", "\"id\" alone");
    refuse("shelve", "{\"tank\":\"a1\",\"minutes\":\"90\"}", "\"minutes\" must be a number");
    refuse("shelve", "{\"tank\":\"a1\",\"minutes\":nan}", "\"minutes\" must be a number");
    refuse("shelve", "{\"tank\":\"a1\",\"minutes\":-1}", "\"minutes\" must be 0 to");
    refuse("note", "{\"tank\":\"a1\"}", "needs \"what\"");
    refuse("note", "{\"tank\":\"a1\",\"what\":\"test\",\"quantity\":\"kh\"}",
           "needs \"quantity\" and \"value\"");
    refuse("note", "{\"what\":\"test\",\"quantity\":\"kh\",\"value\":4}", "needs a place");
    refuse("note", "{\"tank\":\"a1\",\"what\":\"test\",\"value\":4}", "\"value\" needs \"quantity\"");
    refuse("note", "{\"tank\":\"a1\",\"what\":\"test\",\"quantity\":\"magic\",\"value\":4}",
           "no quantity \"magic\"");
    refuse("note", "{\"tank\":\"a1\",\"what\":\"test\",\"quantity\":\"ph\",\"value\":71}", "0 to 14");
    refuse("note", "{\"what\":\"change\",\"at\":\"2026-03-01T12:00:00\"}", "with its zone");
    refuse("note", "{\"what\":\"change\",\"at\":5}", "with its zone");
    refuse("note", "{\"what\":\"change\",\"at\":null}", "with its zone");
    refuse("calibrate", "{\"tank\":\"a1\",\"quantity\":\"temp\"}", "calibrate needs");
}

static void answers(void **state)
{
    (void)state;
    char buf[300];
    struct text out = text_over(buf, sizeof buf);
    accept("ack", "{\"tank\":\"a1\"}");
    commands_format_answer(&site, &c, STATUS_OK, "acknowledged", &out);
    assert_string_equal(
        buf, "{\"v\":1,\"ok\":true,\"command\":\"ack\",\"place\":\"tank/a1\",\"text\":\"acknowledged\"}");
    text_clear(&out);
    refuse("jump", "{}", "no command");
    commands_format_answer(&site, &c, STATUS_INVALID, "say \"ack\"", &out);
    assert_string_equal(
        buf, "{\"v\":1,\"ok\":false,\"command\":null,\"place\":null,\"text\":\"say \\\"ack\\\"\"}");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(alerts_are_named_three_ways, set_up, tear_down),
        cmocka_unit_test_setup_teardown(shelving_with_who_and_why, set_up, tear_down),
        cmocka_unit_test_setup_teardown(long_words_are_cut, set_up, tear_down),
        cmocka_unit_test_setup_teardown(notes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(calibrations, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nothing_given, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refused_with_a_sentence, set_up, tear_down),
        cmocka_unit_test_setup_teardown(answers, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
