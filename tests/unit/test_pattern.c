/* Filters after MQTT 5.0, section 4.7; captures are our own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "model/pattern.h"

static struct place places[] = {
    { PLACE_ROOM, "room", "room", "room", -1 },    { PLACE_TANK, "a1", "tank/a1", "a1", 0 },
    { PLACE_TANK, "a11", "tank/a11", "a11", 1 },   { PLACE_RACK, "a", "rack/a", "a", -1 },
    { PLACE_SOURCE, "ro", "source/ro", "ro", -1 },
};
static struct tank tanks[] = { { .id = "a1", .place = 1, .rack = 3, .circuit = -1 },
                               { .id = "a11", .place = 2, .rack = -1, .circuit = -1 } };
static const struct site site = { .places = places, .place_count = 5, .tanks = tanks, .tank_count = 2 };

static void sound_patterns_tell_their_capture(void **state)
{
    (void)state;
    static const struct {
        const char *pattern, *filter;
        enum place_kind capture;
    } good[] = {
        { "probes/{tank}/temp", "probes/+/temp", PLACE_TANK },
        { "{rack}/{tank}/state", "+/+/state", PLACE_TANK },
        { "shed/rack-{rack}-x/power", "shed/+/power", PLACE_RACK },
        { "ro/{source}/#", "ro/+/#", PLACE_SOURCE },
        { "plain/topic", "plain/topic", PLACE_KIND_COUNT },
        { "/lead/+/", "/lead/+/", PLACE_KIND_COUNT },
        { "#", "#", PLACE_KIND_COUNT },
    };
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        enum place_kind capture = PLACE_ROOM;
        char filter[64];
        assert_int_equal(pattern_check(good[i].pattern, &capture, NULL), STATUS_OK);
        assert_int_equal(capture, good[i].capture);
        assert_int_equal(pattern_filter(good[i].pattern, filter, sizeof filter), strlen(good[i].filter));
        assert_string_equal(filter, good[i].filter);
    }
}

static void unsound_patterns_are_refused(void **state)
{
    (void)state;
    char longer[400];
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = '\0';
    const char *bad[] = { "",        "a/#/b",      "a+/b",         "a/b#",          "a/{tank",
                          "a/tank}", "a/{fish}/t", "{tank}{rack}", "{tank}/{tank}", "}{tank",
                          "a/{}/b",  "$share/g/a", "a\nb",         longer };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        enum place_kind capture;
        struct why why = { "" };
        assert_int_equal(pattern_check(bad[i], &capture, &why), STATUS_INVALID);
        assert_true(strlen(why.text) > 10);
    }
}

static const char *filled(const char *pattern, int place)
{
    static char buf[100];
    struct text out = text_over(buf, sizeof buf);
    pattern_fill(pattern, &site, place, &out);
    return buf;
}

static void fills_with_the_ids_of_the_place(void **state)
{
    (void)state;
    assert_string_equal(filled("{rack}/{tank}/x-{tank}", 1), "a/a1/x-a1");
    assert_string_equal(filled("r-{rack}-p/+/#", 3), "r-a-p/+/#");
    assert_string_equal(filled("{rack}/{tank}", 2), "{rack}/a11");
    assert_true(pattern_serves("{rack}/{tank}", &site, 1));
    assert_false(pattern_serves("{rack}/{tank}", &site, 2));
    assert_false(pattern_serves("{tank}", &site, 4));
    assert_true(pattern_serves("plain", &site, 0));
}

static bool meets(const char *pattern, int place, const char *topic)
{
    return pattern_match(pattern, &site, place, topic, strlen(topic));
}

static void meets_the_topics_of_its_place_only(void **state)
{
    (void)state;
    assert_true(meets("probes/{tank}/temp", 1, "probes/a1/temp"));
    assert_false(meets("probes/{tank}/temp", 1, "probes/a11/temp"));
    assert_false(meets("probes/{tank}/temp", 1, "probes/a1"));
    assert_false(meets("probes/{tank}/temp", 1, "probes/a1/temp/x"));
    assert_false(meets("probes/{tank}", 1, "probes/"));
    assert_true(meets("t-{tank}-x/+", 1, "t-a1-x/"));
    assert_false(meets("t-{tank}-x/+", 1, "t-a1/x"));
    assert_false(meets("aa{tank}1", 1, "aa1"));
    assert_false(meets("{rack}/{tank}", 2, "a/a11"));
    assert_true(meets("ro/#", 4, "ro"));
    assert_true(meets("ro/#", 4, "ro/a/b"));
    assert_false(meets("#", 4, "$SYS/uptime"));
    assert_false(meets("#", 4, ""));
}

static void a_filter_that_does_not_fit_is_empty(void **state)
{
    (void)state;
    char small[8];
    assert_int_equal(pattern_filter("probes/{tank}/temp", small, sizeof small), 0);
    assert_string_equal(small, "");
}

static void captured_is(const char *pattern, const char *topic, const char *wanted)
{
    const char *id = "";
    size_t n = pattern_captured(pattern, PLACE_TANK, topic, strlen(topic), &id);
    assert_int_equal(n, strlen(wanted));
    assert_memory_equal(id, wanted, n);
}

static void tells_what_stands_at_the_capture(void **state)
{
    (void)state;
    captured_is("probes/{tank}/temp", "probes/a1/temp", "a1");
    captured_is("+/t-{tank}-x/#", "any/t-a1-x/more", "a1");
    captured_is("{rack}/{tank}", "left/b2", "b2");
    captured_is("probes/{tank}", "probes/", "");
    captured_is("probes/t-{tank}-x", "probes/t-", "");
    captured_is("probes/{tank}", "probes", "");
    captured_is("probes/{rack}", "probes/a1", "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sound_patterns_tell_their_capture),
        cmocka_unit_test(unsound_patterns_are_refused),
        cmocka_unit_test(fills_with_the_ids_of_the_place),
        cmocka_unit_test(meets_the_topics_of_its_place_only),
        cmocka_unit_test(a_filter_that_does_not_fit_is_empty),
        cmocka_unit_test(tells_what_stands_at_the_capture),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
