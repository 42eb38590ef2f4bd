/* Retained documents become notices, whatever comes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "cli/alerts.h"
#include "small_room.h"

static struct small_room room;
static struct alerts_heard h;

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    site_derive_streams(&room.site);
    site_derive_alerts(&room.site);
    return alerts_heard_init(&h, &room.site);
}

static int teardown(void **state)
{
    (void)state;
    alerts_heard_fini(&h);
    site_fini(&room.site);
    return 0;
}

static void hear(const char *topic, const char *payload)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload) };
    alerts_heard_take(&h, &m);
}

#define LOW                                                                                                  \
    "{\"place\":\"tank/"                                                                                     \
    "a1\",\"kind\":\"temp-low\",\"state\":\"UNACK\",\"priority\":\"high\",\"value\":20.31,"                  \
    "\"limit\":20.5,\"unit\":\"°C\",\"cause\":null,\"evidence\":null,\"action\":\"look\",\"consequence\":"  \
    "\"x\","                                                                                                 \
    "\"raised\":\"2026-03-01T12:00:00Z\",\"due\":null,\"until\":null,\"chattering\":true,\"leader\":null,"   \
    "\"who\":\"mara\",\"why\":null}"

static void a_document_becomes_a_notice(void **state)
{
    (void)state;
    hear("lentic/millrace/status", "{\"state\":\"online\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    assert_true(h.status_heard && h.online);
    assert_int_equal(h.count, 1);
    const struct notice *n = &h.notices[0];
    assert_string_equal(n->ref, "tank/a1/temp-low");
    assert_string_equal(n->title, "temperature below the band");
    assert_string_equal(n->number, "20.31 °C, limit 20.5 °C");
    assert_string_equal(n->who, "mara");
    assert_string_equal(n->leader, "");
    assert_int_equal(n->priority, PRIORITY_HIGH);
    assert_int_equal(n->raised.ms, INT64_C(1772366400000));
    assert_true(n->chattering && !utc_is_set(n->due));
    assert_string_equal(h.documents[0], LOW);
}

static void what_ends_goes(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    hear("lentic/millrace/alert/tank/b1/temp-low", "{\"state\":\"ACKED\",\"priority\":\"low\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", "");
    hear("lentic/millrace/alert/tank/a1/temp-low", "");
    assert_int_equal(h.count, 1);
    assert_string_equal(h.notices[0].ref, "tank/b1/temp-low");
    hear("lentic/millrace/status", "{\"state\":\"offline\"}");
    assert_true(h.status_heard && !h.online);
}

static void documents_stay_with_their_notices(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/b1/temp-low", "{\"state\":\"ACKED\",\"priority\":\"low\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    alerts_heard_sort(&h);
    assert_string_equal(h.notices[0].ref, "tank/a1/temp-low");
    assert_string_equal(h.documents[0], LOW);
    assert_string_equal(h.documents[1], "{\"state\":\"ACKED\",\"priority\":\"low\"}");
}

static void rubbish_is_counted(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/a1/temp-low", "{\"state\":");
    hear("lentic/millrace/status", "no");
    hear("lentic/other/alert/tank/a1/temp-low", LOW);
    hear("lentic/millrace", "x");
    hear("lentic/millrace/alert/tank/zz/nothing-known", "{\"state\":7,\"priority\":[],\"kind\":\"odd\"}");
    assert_int_equal(h.unreadable, 1);
    assert_int_equal(h.count, 1);
    assert_string_equal(h.notices[0].title, "odd");
    assert_int_equal(h.notices[0].priority, PRIORITY_HIGH);
    assert_false(h.status_heard);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_document_becomes_a_notice, setup, teardown),
        cmocka_unit_test_setup_teardown(what_ends_goes, setup, teardown),
        cmocka_unit_test_setup_teardown(documents_stay_with_their_notices, setup, teardown),
        cmocka_unit_test_setup_teardown(rubbish_is_counted, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
