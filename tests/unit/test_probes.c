#include "config_text.h"

#include "config/probes.h"

#define ROOM                                                                                                 \
    SITE "tanks = ( { id = \"a1\"; volume_l = 3; rack = \"a\"; }, { id = \"a2\"; volume_l = 3; rack = "      \
         "\"a\"; }, { id = "                                                                                 \
         "\"b1\"; volume_l = 3; } );\nprobes = ("
#define TEMP "measures = \"temp\"; }"

static void one_entry_serves_every_tank_that_fits(void **state)
{
    (void)state;
    expect_sound(ROOM "{ topic = \"p/{tank}/t\"; " TEMP ",\n"
                      "{ topic = \"{rack}/{tank}/x\"; device = \"d\"; qos = 0; " TEMP ",\n"
                      "{ topic = \"q/{tank}/t\"; tanks = [\"b1\"]; " TEMP ",\n"
                      "{ topic = \"r/{rack}/t\"; " TEMP ",\n"
                      "{ topic = \"room/t\"; place = \"room\"; " TEMP " );\n");
    assert_int_equal(site->entry_count, 5);
    const struct probe_entry *entry = site->entries;
    assert_int_equal(entry[0].place_count, 3);
    assert_string_equal(entry[0].filter, "p/+/t");
    assert_int_equal(entry[0].qos, 1);
    assert_int_equal(entry[0].line, 3);
    assert_int_equal(entry[0].capture, PLACE_TANK);
    assert_int_equal(entry[1].place_count, 2);
    assert_string_equal(entry[1].device, "d");
    assert_int_equal(entry[1].qos, 0);
    assert_int_equal(entry[2].place_count, 1);
    assert_string_equal(site->places[entry[2].places[0]].text, "tank/b1");
    assert_int_equal(entry[3].place_count, 1);
    assert_string_equal(site->places[entry[3].places[0]].text, "rack/a");
    assert_int_equal(entry[4].place, site->room_place);
    assert_int_equal(site->stream_count, 8);
    assert_string_equal(site->streams[3].name, "a/a1/x");
}

static void one_document_may_hold_several_values(void **state)
{
    (void)state;
    expect_sound(ROOM "{ topic = \"p/{tank}\"; time = \"/t\"; time_form = \"ms\"; every_s = 20; match = { at "
                      "= \"/k\"; is = 7; };\n"
                      "values = ( { at = \"/t/c\"; " TEMP
                      ", { at = \"/ec\"; measures = \"ec\"; every_s = 60; } ); } );\n");
    const struct probe_entry *entry = site->entries;
    assert_int_equal(entry->value_count, 2);
    assert_string_equal(entry->time_at, "/t");
    assert_int_equal(entry->time_form, TIME_FORM_MS);
    assert_string_equal(entry->match_at, "/k");
    assert_string_equal(entry->match, "7");
    assert_true(entry->values[0].every_s == 20.0 && entry->values[1].every_s == 60.0);
    assert_int_equal(site->stream_count, 6);
}

static void a_list_may_be_the_whole_payload(void **state)
{
    (void)state;
    expect_sound(ROOM
                 "{ topic = \"p/{tank}\"; each = \"\"; time = \"/t\"; at = \"/v\"; " TEMP ",\n"
                 "{ topic = \"gw\"; each = \"/list\"; match = { at = \"/id\"; is = 9007199254740993L; }; "
                 "place = \"tank/a1\"; at = \"/v\"; " TEMP " );\n");
    assert_string_equal(site->entries[0].list_at, "");
    assert_string_equal(site->entries[1].list_at, "/list");
    assert_string_equal(site->entries[1].match, "9007199254740993");
}

static void faults_of_entries_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { ROOM "{ topic = \"p/{tnk}/t\"; " TEMP " );\n", 3, "unknown capture" },
        { ROOM "{ topic = \"p/t\"; " TEMP " );\n", 3, "no place: put {tank}" },
        { ROOM "{ topic = \"p/t\"; place = \"tank/a3\"; " TEMP " );\n", 3, "did you mean \"tank/a" },
        { ROOM "{ topic = \"p/t\"; place = \"lentic\"; " TEMP " );\n", 3, "a probe cannot be at \"lentic\"" },
        { ROOM "{ topic = \"p/{tank}\"; place = \"room\"; " TEMP " );\n", 3, "leave place out" },
        { ROOM "{ topic = \"p/{source}\"; " TEMP " );\n", 3, "no place in this file fits" },
        { ROOM "{ topic = \"p/{tank}\"; tanks = [\"a9\"]; " TEMP " );\n", 3, "unknown tank \"a9\"" },
        { ROOM "{ topic = \"p/{tank}\"; tanks = [\"a1\", \"a1\"]; " TEMP " );\n", 3,
          "stands twice in tanks" },
        { ROOM "{ topic = \"{rack}/{tank}\"; tanks = [\"b1\"]; " TEMP " );\n", 3, "has no rack" },
        { ROOM "{ topic = \"p/t\"; place = \"room\"; tanks = [\"b1\"]; " TEMP " );\n", 3, "holds {tank}" },
        { ROOM "{ topic = \"p/{tank}\"; } );\n", 3, "measures is missing" },
        { ROOM "{ " TEMP " );\n", 3, "topic is missing" },
        { ROOM "{ topic = \"p/{tank}\"; measure = \"temp\"; } );\n", 3, "did you mean \"measures\"" },
        { ROOM "{ topic = \"p/{tank}\"; qos = 2; " TEMP " );\n", 3, "qos must be 0 to 1" },
        { ROOM "{ topic = \"p/{tank}\"; values = ( ); } );\n", 3, "1 to 64" },
        { ROOM "{ topic = \"p/{tank}\"; unit = \"K\"; values = ( { at = \"/a\"; " TEMP " ); } );\n", 3,
          "unit stands beside values" },
        { ROOM "{ topic = \"p/{tank}\"; time = \"/t\"; " TEMP " );\n", 3,
          "time, match and each need a JSON payload" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; each = \"/list\"; " TEMP " );\n", 3,
          "each needs match" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; each = \"list\"; time = \"/t\"; " TEMP " );\n", 3,
          "it begins with /" },
        { ROOM "{ topic = \"p/{tank}\"; device_at = \"/id\"; " TEMP " );\n", 3, "need a JSON payload" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; device = \"x\"; device_at = \"/id\"; " TEMP " );\n", 3,
          "leave one of them out" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; battery = { at = \"/b\"; unit = \"V\"; }; " TEMP " );\n",
          3, "a battery in V needs low" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; battery = { at = \"/b\"; low = 2500; }; " TEMP " );\n",
          3, "above 100 %" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; link = { unit = \"dBm\"; }; " TEMP " );\n", 3, "at" },
        { ROOM "{ topic = \"p/{tank}\"; kind = \"none\"; " TEMP " );\n", 3, "there is no kind \"none\"" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; time = \"t\"; " TEMP " );\n", 3, "no JSON pointer" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; match = { at = \"/b\"; }; " TEMP " );\n", 3,
          "is is missing in match" },
        { ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; time_form = \"us\"; " TEMP " );\n", 3,
          "time_form cannot be \"us\"" },
        { ROOM "{ topic = \"p/{tank}\"; values = ( { at = \"/a\"; " TEMP ", { measures = \"ec\"; } ); } );\n",
          3, "at is missing" },
    };
    EXPECT_FAULTS(cases);
}

static void one_stream_has_one_entry(void **state)
{
    (void)state;
    assert_int_equal(load_text(ROOM "{ topic = \"p/{tank}\"; " TEMP
                                    ",\n{ topic = \"p/a1\"; place = \"tank/a1\"; " TEMP " );\n"),
                     STATUS_INVALID);
    assert_int_equal(faults.errors, 1);
    assert_true(told(4, "\"p/a1\" is read already by the entry of line 3"));
    expect_sound(
        ROOM "{ topic = \"p/{tank}\"; at = \"/a\"; " TEMP ", { topic = \"p/{tank}\"; at = \"/b\"; " TEMP ",\n"
             "{ topic = \"p/{tank}\"; at = \"/a\"; match = { at = \"/k\"; is = \"x\"; }; " TEMP " );\n");
}

static void what_needs_a_temperature_must_have_one(void **state)
{
    (void)state;
    expect_fault(ROOM
                 "{ topic = \"p/a1\"; place = \"tank/a1\"; measures = \"ec\"; compensated = false; } );\n",
                 3, "ec at tank/a1 cannot be compensated");
    expect_fault(ROOM "{ topic = \"p/a1\"; place = \"tank/a1\"; measures = \"ph\"; millivolts = true; } );\n",
                 3, "ph at tank/a1 cannot be compensated");
    expect_sound(ROOM "{ topic = \"p/a1\"; place = \"tank/a1\"; measures = \"ec\"; compensated = false; },\n"
                      "{ topic = \"t/{tank}\"; " TEMP " );\n");
}

static void nothing_hears_its_own_voice(void **state)
{
    (void)state;
    expect_fault(ROOM "{ topic = \"#\"; place = \"room\"; " TEMP " );\n", 3,
                 "also hear what is published here");
    expect_fault(ROOM "{ topic = \"+/mill/heartbeat\"; place = \"room\"; " TEMP " );\n", 3,
                 "\"lentic/mill/heartbeat\"");
    expect_sound(ROOM "{ topic = \"+/+/temp\"; place = \"room\"; " TEMP " );\n");
}

/* One topic may have many entries, but not every entry a topic of its own. */
static void topics_without_a_pattern_have_an_end(void **state)
{
    (void)state;
    static char text[200 * (SITE_FILTERS_MAX + 1) + 500];
    for (int topics = SITE_FILTERS_MAX; topics <= SITE_FILTERS_MAX + 1; topics++) {
        size_t n = (size_t)snprintf(text, sizeof text, "%s", ROOM);
        for (int i = 0; i <= SITE_FILTERS_MAX; i++)
            n += (size_t)snprintf(text + n, sizeof text - n,
                                  "{ topic = \"p/%d\"; match = { at = \"/n\"; is = \"%d\"; }; place = "
                                  "\"tank/a1\"; at = \"/t\"; " TEMP "%s\n",
                                  i % topics, i, i == SITE_FILTERS_MAX ? " );" : ",");
        if (topics <= SITE_FILTERS_MAX)
            expect_sound(text);
        else
            expect_fault(text, 3, "501 different topics are subscribed to, 500 at most");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_entry_serves_every_tank_that_fits),
        cmocka_unit_test(one_document_may_hold_several_values),
        cmocka_unit_test(a_list_may_be_the_whole_payload),
        cmocka_unit_test(faults_of_entries_are_told),
        cmocka_unit_test(one_stream_has_one_entry),
        cmocka_unit_test(what_needs_a_temperature_must_have_one),
        cmocka_unit_test(nothing_hears_its_own_voice),
        cmocka_unit_test(topics_without_a_pattern_have_an_end),
    };
    RUN(tests);
}
