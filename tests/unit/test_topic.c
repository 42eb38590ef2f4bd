#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <stdio.h>
#include "wire/topic.h"
#include "site_sketch.h"

static struct arena arena;
static struct site site;
static struct probe_entry entries[6];
static struct topics *topics;

static int set_up(void **state)
{
    (void)state;
    entries[0] = sketch_entry(&arena, "probes/{tank}/temp", -1, NULL, 0);
    entries[1] = sketch_entry(&arena, "racks/{rack}/{tank}/+", -1, NULL, 0);
    entries[2] = sketch_entry(&arena, "gw/uplink", AT_A1, NULL, 0);
    entries[3] = sketch_entry(&arena, "gw/uplink", AT_A2, NULL, 0);
    entries[4] = sketch_entry(&arena, "meters/{circuit}/#", -1, NULL, 0);
    entries[5] = sketch_entry(&arena, "+/room", AT_ROOM, NULL, 0);
    site = sketch_site(entries, 6);
    topics = topics_init(&site, &arena);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    site_fini(&site);
    arena_fini(&arena);
    return 0;
}

/* Asked twice: at first sight and from the table. */
static void expect(const char *topic, int count, int entry, int place)
{
    for (int pass = 0; pass < 2; pass++) {
        const struct topic_target *found;
        int got = topics_find(topics, topic, strlen(topic), &found);
        if (got != count)
            fail_msg("%s: %d targets, want %d", topic, got, count);
        if (count > 0) {
            assert_int_equal(found[0].entry, entry);
            assert_int_equal(entries[found[0].entry].places[found[0].place_index], place);
        }
    }
}

static void captures_name_places(void **state)
{
    (void)state;
    expect("probes/a1/temp", 1, 0, AT_A1);
    expect("probes/b2/temp", 1, 0, AT_B2);
    expect("probes/zz/temp", 0, 0, 0);
    expect("probes/a1/Temp", 0, 0, 0);
    expect("probes/a1/temp/", 0, 0, 0);
    expect("probes/a1", 0, 0, 0);
    expect("", 0, 0, 0);
}

static void several_captures_must_agree(void **state)
{
    (void)state;
    expect("racks/ra/a2/state", 1, 1, AT_A2);
    expect("racks/rb/a2/state", 0, 0, 0);
    expect("racks/rb/b1/anything", 1, 1, AT_B1);
}

static void wildcards(void **state)
{
    (void)state;
    expect("meters/c1", 1, 4, AT_CIRCUIT);
    expect("meters/c1/a/b", 1, 4, AT_CIRCUIT);
    expect("shed/room", 1, 5, AT_ROOM);
    expect("$SYS/room", 0, 0, 0);
}

static void shared_topics_in_order(void **state)
{
    (void)state;
    const struct topic_target *found;
    assert_int_equal(topics_find(topics, "gw/uplink", 9, &found), 2);
    assert_int_equal(found[0].entry, 2);
    assert_int_equal(found[1].entry, 3);
}

static void a_topic_is_bytes_and_a_length(void **state)
{
    (void)state;
    const struct topic_target *found;
    assert_int_equal(topics_find(topics, "probes/a1/temperature", 14, &found), 1);
    assert_int_equal(topics_find(topics, "probes/a1/temp\0x", 16, &found), 0);
}

static void a_flood_takes_nothing_away(void **state)
{
    (void)state;
    char topic[64];
    const struct topic_target *found;
    for (int i = 0; i < 5000; i++) {
        snprintf(topic, sizeof topic, "foreign/%d", i);
        assert_int_equal(topics_find(topics, topic, strlen(topic), &found), 0);
        snprintf(topic, sizeof topic, "meters/c1/%d", i);
        assert_int_equal(topics_find(topics, topic, strlen(topic), &found), 1);
        assert_int_equal(found[0].entry, 4);
    }
    expect("probes/a1/temp", 1, 0, AT_A1);
    expect("probes/b1/temp", 1, 0, AT_B1);
    assert_int_equal(topics_find(topics, "gw/uplink", 9, &found), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(captures_name_places, set_up, tear_down),
        cmocka_unit_test_setup_teardown(several_captures_must_agree, set_up, tear_down),
        cmocka_unit_test_setup_teardown(wildcards, set_up, tear_down),
        cmocka_unit_test_setup_teardown(shared_topics_in_order, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_topic_is_bytes_and_a_length, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_flood_takes_nothing_away, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
