/* What is heard becomes entries: told by name, unit and range; what is in doubt is not proposed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "cli/listen.h"

static struct listen_heard heard;
static int64_t now_ms;

static int setup(void **state)
{
    (void)state;
    now_ms = 1000;
    return listen_init(&heard, "lentic/millrace") == STATUS_OK ? 0 : -1;
}

static int teardown(void **state)
{
    (void)state;
    listen_fini(&heard);
    return 0;
}

static void say(const char *topic, const char *payload, bool retain)
{
    const struct message m = { .topic = topic,
                               .topic_len = (uint32_t)strlen(topic),
                               .payload = payload,
                               .payload_len = (uint32_t)strlen(payload),
                               .retain = retain,
                               .now = { .mono = { now_ms } } };
    listen_take(&heard, &m);
}

/* Several times, ten seconds apart. */
static void say_often(const char *topic, const char *payload)
{
    for (int i = 0; i < 6; i++) {
        now_ms += 10000;
        say(topic, payload, false);
    }
}

static const struct listen_stream *only(void)
{
    listen_settle(&heard);
    assert_int_equal(heard.count, 1);
    return &heard.streams[0];
}

static void a_plain_number_is_told_by_its_name_and_range(void **state)
{
    static const struct {
        const char *topic, *payload, *quantity, *unit;
        enum listen_sure sure;
    } cases[] = {
        { "probes/a1/temp", "24.06", "temp", "Cel", LISTEN_SURE },
        { "probes/a1/waterTemperature", "24.06", "temp", "Cel", LISTEN_SURE },
        { "probes/a1/temp2", "75.2", "temp", "[degF]", LISTEN_LIKELY },
        { "probes/a1/temp", "190.2", "temp", "", LISTEN_DOUBTFUL },
        { "probes/a1/ec", "391", "ec", "uS/cm", LISTEN_SURE },
        { "probes/a1/EC", "0.391", "ec", "mS/cm", LISTEN_LIKELY },
        { "probes/a1/ph", "6.81", "ph", "", LISTEN_SURE },
        { "probes/a1/x", "24.06", "temp", "Cel", LISTEN_DOUBTFUL },
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        heard.count = 0;
        say_often(cases[i].topic, cases[i].payload);
        struct listen_guess g = listen_guess(only());
        assert_int_not_equal(g.quantity, Q_COUNT);
        assert_string_equal(quantity_info(g.quantity)->name, cases[i].quantity);
        assert_string_equal(g.unit, cases[i].unit);
        assert_int_equal(g.sure, cases[i].sure);
        assert_true(g.every_s == 10.0);
        assert_true(strlen(g.reason) > 5);
    }
}

static void what_is_no_water_is_not_taken_for_it(void **state)
{
    static const char *const topics[] = { "n/a1/battery", "n/a1/rssi", "n/a1/temp_offset", "n/a1/x" };
    (void)state;
    for (size_t i = 0; i < sizeof topics / sizeof *topics; i++) {
        heard.count = 0;
        say_often(topics[i], "87");
        assert_int_equal(listen_guess(only()).sure, LISTEN_NOT_WATER);
    }
}

static void error_codes_are_not_the_range(void **state)
{
    (void)state;
    say_often("probes/a1/temp", "24.5");
    say("probes/a1/temp", "85", false);
    say("probes/a1/temp", "-127.00", false);
    const struct listen_stream *s = only();
    assert_true(s->hi == 24.5 && s->codes[0] && s->codes[1]);
    assert_int_equal(listen_guess(s).sure, LISTEN_SURE);
}

static void a_unit_of_another_quantity_is_doubted(void **state)
{
    (void)state;
    say_often("probes/a1", "{\"ec\":390,\"ec_unit\":\"°C\"}");
    const struct listen_stream *s = only();
    assert_string_equal(s->unit_at, "/ec_unit");
    assert_int_equal(listen_guess(s).sure, LISTEN_DOUBTFUL);
}

static void what_is_only_kept_is_doubted(void **state)
{
    (void)state;
    for (int i = 0; i < 5; i++)
        say("probes/a1/temp", "24.5", true);
    assert_int_equal(listen_guess(only()).sure, LISTEN_DOUBTFUL);
}

static void our_own_voice_and_rubbish_are_left_out(void **state)
{
    char longest[LISTEN_TOPIC_MAX + 50];
    (void)state;
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    say("lentic/millrace/tank/a1", "{\"temp\":24}", false);
    say("$SYS/broker/load", "1.5", false);
    say(longest, "24", false);
    say("probes/a1/temp", "", false);
    assert_int_equal(heard.count, 0);
    say("probes/a1/temp", "{\"temp\":", false); /* neither number nor document: words */
    assert_int_equal(heard.streams[0].words, 1);
}

static void a_flood_of_topics_is_bounded_and_told(void **state)
{
    (void)state;
    for (int i = 0; i < LISTEN_STREAMS_MAX + 10; i++) {
        char topic[40];
        snprintf(topic, sizeof topic, "probes/x%d/temp", i);
        say(topic, "24.1", false);
    }
    assert_int_equal(heard.count, LISTEN_STREAMS_MAX);
    assert_int_equal(heard.beyond, 10);
}

static char written[16384];

static int write_all(void)
{
    listen_settle(&heard);
    FILE *f = fmemopen(written, sizeof written, "w");
    int usable = listen_write(f, &heard, NULL);
    fclose(f);
    return usable;
}

static void has(const char *piece)
{
    if (strstr(written, piece) == NULL)
        fail_msg("no \"%s\" in:\n%s", piece, written);
}

static void a_rack_becomes_one_entry(void **state)
{
    (void)state;
    say_often("rack/a1/state", "{\"t\":\"2026-03-01T12:00:00Z\",\"temp\":24.1,\"ph\":6.8}");
    say_often("rack/a2/state", "{\"t\":\"2026-03-01T12:00:00Z\",\"temp\":24.3,\"ph\":6.9}");
    assert_int_equal(write_all(), 1);
    has("{ topic = \"rack/{tank}/state\"; time = \"/t\"; every_s = 10;\n");
    has("{ at = \"/temp\"; measures = \"temp\"; unit = \"Cel\"; }");
    has("{ at = \"/ph\"; measures = \"ph\"; }");
}

static void devices_on_one_topic_are_told_apart(void **state)
{
    (void)state;
    say_often("gate", "{\"sn\":17,\"temp\":24.1}");
    say_often("gate", "{\"sn\":18,\"temp\":21.1}");
    assert_int_equal(heard.count, 2);
    assert_int_equal(write_all(), 0); /* where they are nobody knows */
    has("  # { topic = \"gate\"; match = { at = \"/sn\"; is = \"17\"; }; place = \"tank/?\"; ");
}

static void devices_that_describe_themselves_are_believed(void **state)
{
    (void)state;
    say("homie/5/d1/$description",
        "{\"nodes\":{\"a1\":{\"properties\":{\"p1\":{\"name\":\"Water temperature\",\"unit\":\"°F\"}}}}}",
        true);
    say_often("homie/5/d1/a1/p1", "75.2");
    say("homie/d2/a2/p1/$unit", "°C", true);
    say("homie/d2/a2/p1/$name", "Temperature", true);
    say("homie/d2/a2/p1/$settable", "true", true);
    say_often("homie/d2/a2/p1", "24.2");
    listen_settle(&heard);
    assert_int_equal(heard.count, 2);
    struct listen_guess g = listen_guess(&heard.streams[0]);
    assert_int_equal(g.quantity, Q_TEMP);
    assert_string_equal(g.unit, "°F");
    assert_int_equal(g.sure, LISTEN_SURE);
    g = listen_guess(&heard.streams[1]);
    assert_int_equal(g.sure, LISTEN_DOUBTFUL);
    assert_non_null(strstr(g.reason, "set"));
}

static void has_not(const char *piece)
{
    if (strstr(written, piece) != NULL)
        fail_msg("\"%s\" in:\n%s", piece, written);
}

/* Without a configuration that names them: by what the documents look like. */
static void what_lentic_publishes_is_known_by_itself(void **state)
{
    (void)state;
    say_often("lentic/other/alert/tank/a1/temp-low",
              "{\"temp\":24}"); /* heard before it is known whose it is */
    say("lentic/other/tank/a1",
        "{\"v\":1,\"tank\":\"a1\",\"values\":{\"temp\":{\"value\":24}},\"derived\":{},\"bands\":{},\"heat\":{"
        "},\"solids\":{}}",
        true);
    say("homie/5/other-tank-a1/temp/value", "24.5", true);
    say("homie/5/other-tank-a1/$description", "{\"homie\":\"5.0\",\"version\":1,\"type\":\"lentic/tank\"}",
        true);
    say_often("homie/5/other-tank-a1/temp/value", "24.1");
    say_often("lentic/otherwise/a1/temp", "24.1"); /* begins like it, and is none of it */
    say("shop/tank/a1", "{\"v\":1,\"values\":{\"temp\":24.5}}", false);
    assert_int_equal(write_all(), 2);
    has("lentic/otherwise/{tank}/temp");
    has("# Left out as Lentic's own voice: what is below lentic/millrace, lentic/other, "
        "homie/5/other-tank-a1.");
    has_not("alert");
    has_not("temp/value");
}

/* Words from outside neither end a comment nor become a part of the configuration. */
static void payloads_and_names_cannot_break_out(void **state)
{
    (void)state;
    say_often("n/a1/word", "x\n); tanks = ();\n");
    say_often("n/a1/\x1b[2Jtemp", "24.5");
    say_often("n/{tank}/temp", "24.5");
    say_often("n/\"a1\"/temp", "24.5");
    say_often("n/a1", "{\"s\":{\"serial\":\"9\\n); \"},\"temp\":24.5,\"u\":{\"unit\":\"\\u0007\"}}");
    say_often("n/a2", "{\"e\\nc\":300,\"temp\\\"\":24.5}");
    (void)write_all();
    for (const char *line = strchr(written, '\n'); line != NULL && line[1] != '\0';
         line = strchr(line + 1, '\n'))
        if (strncmp(line + 1, "  ", 2) != 0 && line[1] != ')' && line[1] != '\n')
            fail_msg("a line of its own: %s", line + 1);
    has_not("\x1b");
    has("cannot be printed");
    has("a brace, which would be taken for a capture");
    has("at = \"/temp\\\""); /* quoted once more */
}

static void a_decimal_comma_is_asked_for(void **state)
{
    (void)state;
    say_often("n/a1/temp", "24,5");
    say_often("n/a2", "{\"temp\":\"24,5\"}");
    say_often("n/a3/ec", "1,255");
    assert_int_equal(write_all(), 2);
    has("topic = \"n/{tank}/temp\"; every_s = 10; measures = \"temp\"; unit = \"Cel\"; comma = true; }");
    has("decimal comma, or thousands?");
}

static void lists_are_told_apart_by_their_items(void **state)
{
    (void)state;
    say_often("gate", "{\"at\":\"2026-03-01T12:00:00Z\",\"heard\":[{\"sn\":9007199254740993,\"temp\":24.1},{"
                      "\"sn\":9007199254740992,\"temp\":22.1}]}");
    say_often("log/a1",
              "[{\"t\":\"2026-03-01T12:00:00Z\",\"ph\":6.8},{\"t\":\"2026-03-01T12:01:00Z\",\"ph\":6.9}]");
    say_often("none/a1", "[{\"ph\":6.8},{\"ph\":6.9}]");
    assert_int_equal(write_all(), 1);
    has("each = \"/heard\"; match = { at = \"/sn\"; is = \"9007199254740993\"; }; place = \"tank/?\"; time = "
        "\"/at\";");
    has("is = \"9007199254740992\"");
    has("\n  { topic = \"log/{tank}\"; each = \"\"; time = \"/t\";");
    has("cannot be told apart");
}

/* probes/a1/temp and odd/a1/temp differ in the first level, yet a1 is the place in both. */
static void company_that_went_elsewhere_is_none(void **state)
{
    (void)state;
    for (int i = 1; i < 4; i++) {
        char topic[32];
        snprintf(topic, sizeof topic, "probes/a%d/temp", i);
        say_often(topic, "24.1");
    }
    say_often("odd/a1/temp", "24.1");
    assert_int_equal(write_all(), 2);
    has("topic = \"odd/{tank}/temp\"");
    has("topic = \"probes/{tank}/temp\"");
}

#define HEARING(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
int main(void)
{
    const struct CMUnitTest tests[] = {
        HEARING(a_plain_number_is_told_by_its_name_and_range),
        HEARING(what_is_no_water_is_not_taken_for_it),
        HEARING(error_codes_are_not_the_range),
        HEARING(a_unit_of_another_quantity_is_doubted),
        HEARING(what_is_only_kept_is_doubted),
        HEARING(our_own_voice_and_rubbish_are_left_out),
        HEARING(a_flood_of_topics_is_bounded_and_told),
        HEARING(a_rack_becomes_one_entry),
        HEARING(devices_on_one_topic_are_told_apart),
        HEARING(devices_that_describe_themselves_are_believed),
        HEARING(what_lentic_publishes_is_known_by_itself),
        HEARING(payloads_and_names_cannot_break_out),
        HEARING(a_decimal_comma_is_asked_for),
        HEARING(lists_are_told_apart_by_their_items),
        HEARING(company_that_went_elsewhere_is_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
