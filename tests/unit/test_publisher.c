#include "app/publisher.h"
#include "app_bench.h"

static struct publisher publisher;
static char out[262144];
static bool reachable;

static bool on_send(void *context, const char *topic, const char *payload, size_t n, bool retain,
                    uint32_t expiry_s)
{
    (void)context;
    if (!reachable)
        return false;
    size_t at = strlen(out);
    (void)snprintf(out + at, sizeof out - at, "%s%s%s %.*s\n", topic, retain ? " retained" : "",
                   expiry_s > 0 ? " expires" : "", (int)n, payload);
    return true;
}

static void on_effect(void *context, const struct effect *e)
{
    (void)context;
    publisher_effect(&publisher, &pump, e);
}

static void begin(char *ghosts)
{
    struct pump_sinks sinks = { .effect = on_effect };
    expect_sound(BENCH_SITE);
    ms = 0;
    out[0] = '\0';
    reachable = true;
    pump_init(&pump, site, &sinks, now_is());
    publisher_init(&publisher, site, on_send, NULL, ghosts, now_is());
}

static int make(void **state)
{
    (void)state;
    begin(NULL);
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    publisher_fini(&publisher);
    pump_fini(&pump);
    return 0;
}

static bool sent(const char *words)
{
    return strstr(out, words) != NULL;
}

static void fall_below(void)
{
    for (int i = 0; i < 4; i++)
        minute("probes/a1/temp", i % 2 ? "19.5" : "19.56");
}

static void rise_again(void)
{
    for (int i = 0; i < 10; i++)
        minute("probes/a1/temp", i % 2 ? "22" : "22.06");
}

static void an_alert_stands_retained_until_it_is_over(void **state)
{
    (void)state;
    fall_below();
    assert_true(sent("lentic/mill/alert/tank/a1/temp-low retained {\"v\":1,\"t\":\"2026-03-01T12:"));
    assert_true(sent("lentic/mill/event {\"v\":1,\"t\""));
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}");
    out[0] = '\0';
    rise_again();
    assert_true(sent("lentic/mill/alert/tank/a1/temp-low retained \n"));
}

static void a_new_connection_gets_everything(void **state)
{
    (void)state;
    fall_below();
    out[0] = '\0';
    publisher_connected(&publisher, &pump, now_is());
    assert_true(sent("lentic/mill/alert/tank/a1/temp-low retained {"));
    assert_true(sent("lentic/mill/tank/a1 retained {"));
    assert_true(sent("lentic/mill/tank/a2 retained {"));
}

/* What ended while the broker was away is emptied there when it is back. */
static void an_alert_that_ended_unseen_is_withdrawn(void **state)
{
    (void)state;
    fall_below();
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}");
    reachable = false;
    rise_again();
    reachable = true;
    out[0] = '\0';
    publisher_connected(&publisher, &pump, now_is());
    assert_true(sent("lentic/mill/alert/tank/a1/temp-low retained \n"));
}

/* The clearing went onto a connection that was dying. */
static void an_alert_that_ended_is_withdrawn_once_more(void **state)
{
    (void)state;
    fall_below();
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}");
    rise_again();
    for (int i = 0; i < 3; i++) {
        out[0] = '\0';
        publisher_connected(&publisher, &pump, now_is());
        assert_int_equal(sent("lentic/mill/alert/tank/a1/temp-low retained \n"), i == 0);
    }
}

static void ghosts_of_an_earlier_configuration_are_withdrawn(void **state)
{
    (void)state;
    publisher_fini(&publisher);
    pump_fini(&pump);
    begin(strdup("lentic/mill/tank/a1\nlentic/mill/tank/gone\nlentic/mill/alert/tank/gone/temp-low"));
    reachable = false; /* another configuration while the broker is away */
    publisher_connected(&publisher, &pump, now_is());
    char *list = publisher_list(&publisher);
    assert_non_null(strstr(list, "lentic/mill/tank/gone\nlentic/mill/alert/tank/gone/temp-low"));
    free(list);
    reachable = true;
    publisher_connected(&publisher, &pump, now_is());
    assert_true(sent("lentic/mill/tank/gone retained \n"));
    assert_true(sent("lentic/mill/alert/tank/gone/temp-low retained \n"));
    assert_false(sent("lentic/mill/tank/a1 retained \n"));
    for (int i = 0; i < 3; i++) { /* once more on the next connection */
        out[0] = '\0';
        publisher_connected(&publisher, &pump, now_is());
        assert_int_equal(sent("gone"), i == 0);
    }
    list = publisher_list(&publisher);
    assert_null(strstr(list, "gone"));
    free(list);
}

static void the_list_names_what_stands(void **state)
{
    (void)state;
    assert_true(publisher.list_changed); /* and is noted from the start on */
    fall_below();
    char *list = publisher_list(&publisher);
    assert_non_null(list);
    assert_non_null(strstr(list, "lentic/mill/tank/a1\n"));
    assert_non_null(strstr(list, "lentic/mill/alert/tank/a1/temp-low\n"));
    assert_null(strstr(list, "temp-high"));
    free(list);
}

static void a_tank_goes_out_when_it_changed_but_not_too_often(void **state)
{
    (void)state;
    say("probes/a1/temp", "22.5");
    publisher_tanks(&publisher, &pump, now_is());
    assert_true(sent("lentic/mill/tank/a1 retained {"));
    assert_false(sent("lentic/mill/tank/a2 retained"));
    out[0] = '\0';
    ms += 10;
    say("probes/a1/temp", "22.56");
    publisher_tanks(&publisher, &pump, now_is());
    assert_false(sent("lentic/mill/tank/a1"));
    ms += (int64_t)(site->publish.tank_least_s * 1000);
    publisher_tanks(&publisher, &pump, now_is());
    assert_true(sent("lentic/mill/tank/a1 retained {"));
}

static void the_heart_beats_on_progress_only(void **state)
{
    (void)state;
    struct publisher_news news = { .link = { .link = MQTT_UP }, .progress = false };
    publisher_advance(&publisher, &pump, &news, now_is());
    assert_true(sent("lentic/mill/status retained {\"v\":1,\"state\":\"online\""));
    assert_false(sent("heartbeat"));
    ms += 10 * MS_PER_MIN;
    news.progress = true;
    publisher_advance(&publisher, &pump, &news, now_is());
    assert_true(sent("lentic/mill/heartbeat expires {\"v\":1,\"t\""));
    out[0] = '\0';
    ms += 10 * MS_PER_MIN;
    news.link.link = MQTT_DOWN;
    publisher_advance(&publisher, &pump, &news, now_is());
    assert_string_equal(out, "");
}

static void offline_is_said_and_willed(void **state)
{
    (void)state;
    char topic[128], payload[128];
    publisher_will(site, topic, sizeof topic, payload, sizeof payload);
    assert_string_equal(topic, "lentic/mill/status");
    assert_non_null(strstr(payload, "\"state\":\"offline\""));
    publisher_offline(&publisher, now_is());
    assert_true(sent("lentic/mill/status retained {\"v\":1,\"state\":\"offline\""));
}

#define ON_BENCH(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_BENCH(an_alert_stands_retained_until_it_is_over),
        ON_BENCH(a_new_connection_gets_everything),
        ON_BENCH(an_alert_that_ended_unseen_is_withdrawn),
        ON_BENCH(an_alert_that_ended_is_withdrawn_once_more),
        ON_BENCH(ghosts_of_an_earlier_configuration_are_withdrawn),
        ON_BENCH(the_list_names_what_stands),
        ON_BENCH(a_tank_goes_out_when_it_changed_but_not_too_often),
        ON_BENCH(the_heart_beats_on_progress_only),
        ON_BENCH(offline_is_said_and_willed),
    };
    RUN(tests);
}
