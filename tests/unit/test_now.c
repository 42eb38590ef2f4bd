/* Documents of the service become rows of the board, whatever comes. */
#include "store_fixture.h"

#include "cli/now.h"

static struct hearing h;

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    room_make(room);
    room->tanks[0] = (struct tank){ .id = "a1", .place = 0 };
    room->site.id = "millrace";
    room->site.publish.base = "lentic/millrace";
    static int first[2 * Q_COUNT];
    for (int i = 0; i < 2 * Q_COUNT; i++)
        first[i] = -1;
    first[Q_TEMP] = 0;
    room->site.first_stream = first;
    assert_int_equal(hearing_init(&h, &room->site), 0);
    *state = room;
    return 0;
}

static int teardown(void **state)
{
    hearing_fini(&h);
    room_remove(*state);
    free(*state);
    return 0;
}

static void hear_retained(const char *topic, const char *payload, bool retain)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload),
                         .retain = retain };
    assert_true(hearing_take(&h, &m));
}

static void hear(const char *topic, const char *payload)
{
    hear_retained(topic, payload, false);
}

#define ALERT                                                                                                \
    "{\"place\":\"tank/a1\",\"kind\":\"heater-dead\",\"state\":\"UNACK\",\"priority\":\"high\","             \
    "\"since\":\"2026-03-01T12:00:00Z\",\"due\":null,\"cause\":null,\"leader\":null,\"action\":\"look\"}"

static void documents_fill_the_board(void **state)
{
    (void)state;
    assert_false(hearing_is_whole(&h));
    assert_true(h.tanks[0].measured[Q_TEMP] && !h.tanks[0].measured[Q_EC]);
    hear("lentic/millrace/status",
         "{\"state\":\"online\",\"since\":\"2026-03-01T12:00:00Z\",\"store\":\"full\"}");
    hear("lentic/millrace/tank/a1",
         "{\"values\":{\"temp\":{\"value\":24.5,\"t\":\"2026-03-01T12:00:00Z\",\"flag\":3,\"stale\":true,"
         "\"per_day\":-0.5}},\"service\":null}");
    assert_true(hearing_is_whole(&h));
    assert_int_equal(h.board.service, BOARD_SERVICE_ONLINE);
    assert_int_equal(h.board.service_since.ms, T0);
    assert_string_equal(h.board.service_note, "store: full");
    const struct board_value *v = &h.tanks[0].values[Q_TEMP];
    assert_true(v->known && v->stale && v->value == 24.5 && v->per_day == -0.5 && v->t.ms == T0);
    assert_int_equal(v->flag, FLAG_SUSPECT);
    assert_false(h.tanks[0].values[Q_EC].known || h.tanks[0].in_service);
    hear("lentic/millrace/status", "{\"state\":\"offline\"}");
    assert_int_equal(h.board.service, BOARD_SERVICE_OFFLINE);
    hear("lentic/millrace/tank/a1", "");
    assert_false(h.tanks[0].heard);
}

/* The status that is kept comes first and last; one that comes in between, live, is no fence. */
static void all_came_when_the_status_came_again(void **state)
{
    (void)state;
    hear_retained("lentic/millrace/status", "{\"state\":\"online\"}", true);
    hear("lentic/millrace/status", "{\"state\":\"online\"}");
    hear_retained("lentic/millrace/tank/a1", "{\"values\":{}}", true);
    assert_false(hearing_is_fenced(&h));
    hear_retained("lentic/millrace/status", "{\"state\":\"online\"}", true);
    assert_true(hearing_is_fenced(&h));
}

static void alerts_come_and_go(void **state)
{
    (void)state;
    char buf[4096];
    struct text out = text_over(buf, sizeof buf);
    hear("lentic/millrace/alert/tank/a1/heater-dead", ALERT);
    hear("lentic/millrace/alert/tank/a1/temp-low",
         "{\"place\":\"tank/a1\",\"kind\":\"temp-low\",\"state\":\"RTNUN\"}");
    hear("lentic/millrace/alert/tank/a1/heater-dead", ALERT);
    assert_int_equal(h.board.alert_count, 2);
    assert_string_equal(h.alerts[0].title, "heater not heating");
    assert_string_equal(h.alerts[1].title, "temperature below the band");
    assert_int_equal(hearing_verdict(&h), 3); /* nobody knows whether that is all */
    hear("lentic/millrace/status", "{\"state\":\"online\"}");
    assert_int_equal(hearing_verdict(&h), 1);
    hear("lentic/millrace/status", "{\"state\":\"offline\"}");
    assert_int_equal(hearing_verdict(&h), 3);
    hearing_put_json(&h, (utc_t){ T0 }, &out);
    assert_string_equal(buf, "{\"t\":\"2026-03-01T12:00:00.000Z\",\"status\":{\"state\":\"offline\"},"
                             "\"tanks\":[],\"sources\":[],\"alerts\":[" ALERT
                             ",\n{\"place\":\"tank/a1\",\"kind\":\"temp-low\",\"state\":\"RTNUN\"}]}\n");
    hear("lentic/millrace/alert/tank/a1/heater-dead", "");
    assert_int_equal(h.board.alert_count, 1);
    assert_string_equal(h.alerts[0].title, "temperature below the band");
    hear("lentic/millrace/status", "{\"state\":\"online\"}");
    assert_int_equal(hearing_verdict(&h), 0);
}

static void strange_things_do_no_harm(void **state)
{
    (void)state;
    char topic[128];
    hear("lentic/millrace", "x");
    hear("lentic/millrace/tank/zz", "{}");
    hear("other/status", "{\"state\":\"online\"}");
    hear("lentic/millrace/status", "rubbish");
    hear("lentic/millrace/tank/a1", "[1");
    hear("lentic/millrace/alert/tank/a1/heater-dead", "{");
    hear("lentic/millrace/tank/a1", "{\"values\":{\"temp\":{\"value\":\"hot\",\"t\":7,\"per_day\":[]}}}");
    assert_false(h.tanks[0].values[Q_TEMP].known);
    assert_int_equal(h.board.service, BOARD_SERVICE_UNKNOWN);
    assert_int_equal(h.unreadable, 2);
    for (int i = 0; i < NOW_ALERTS_MAX + 5; i++) {
        snprintf(topic, sizeof topic, "lentic/millrace/alert/room/kind-%d", i);
        hear(topic, "{\"place\":\"room\",\"state\":\"ACKED\",\"kind\":\"new\"}");
    }
    assert_int_equal(h.board.alert_count, NOW_ALERTS_MAX);
    assert_string_equal(h.alerts[0].title, "new");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(documents_fill_the_board, setup, teardown),
        cmocka_unit_test_setup_teardown(all_came_when_the_status_came_again, setup, teardown),
        cmocka_unit_test_setup_teardown(alerts_come_and_go, setup, teardown),
        cmocka_unit_test_setup_teardown(strange_things_do_no_harm, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
