#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "adapters/mqtt_backoff.h"

static void pauses_double_to_the_cap(void **state)
{
    (void)state;
    static const int64_t most[] = { 1000, 2000, 4000, 8000, 16000, 32000, 60000, 60000, 60000 };
    for (uint64_t seed = 0; seed < 200; seed++) {
        struct mqtt_backoff b = { .random = seed * 7919 };
        bool taken = true;
        for (int i = 0; i < 9; i++) {
            int64_t pause = mqtt_backoff_ended(&b, MQTT_END_NO_LINK, 0, &taken);
            assert_in_range(pause, i == 0 ? 1000 : most[i] * 3 / 4, most[i]);
            assert_false(taken);
        }
    }
}

static void clients_do_not_come_at_once(void **state)
{
    (void)state;
    int64_t least = INT64_MAX, most = 0;
    for (uint64_t seed = 0; seed < 100; seed++) {
        struct mqtt_backoff b = { .failures = 6, .random = seed << 40 };
        bool taken;
        int64_t pause = mqtt_backoff_ended(&b, MQTT_END_NO_LINK, 0, &taken);
        least = pause < least ? pause : least;
        most = pause > most ? pause : most;
    }
    assert_true(most - least > 10000);
}

static void only_a_stable_link_starts_anew(void **state)
{
    (void)state;
    bool taken;
    struct mqtt_backoff b = { .failures = 5 };
    assert_true(mqtt_backoff_ended(&b, MQTT_END_LOST, MQTT_BACKOFF_STABLE_MS - 1, &taken) > 20000);
    assert_int_equal(mqtt_backoff_ended(&b, MQTT_END_LOST, MQTT_BACKOFF_STABLE_MS, &taken), 1000);
}

static void a_takeover_said_by_the_broker_waits_long(void **state)
{
    (void)state;
    bool taken = false;
    struct mqtt_backoff b = { 0 };
    assert_true(mqtt_backoff_ended(&b, MQTT_END_TAKEN, MQTT_BACKOFF_STABLE_MS * 2, &taken) >= 22500);
    assert_true(taken);
}

static void brokers_that_go_are_no_takeover(void **state)
{
    (void)state;
    bool taken = true;
    struct mqtt_backoff b = { 0 };
    for (int i = 0; i < 10; i++) {
        mqtt_backoff_ended(&b, MQTT_END_GONE, 100, &taken);
        assert_false(taken);
    }
    for (int i = 0; i < 10; i++) {
        mqtt_backoff_ended(&b, i % 3 == 2 ? MQTT_END_GONE : MQTT_END_LOST, 100, &taken);
        assert_false(taken);
    }
}

static void three_quick_drops_are_a_takeover(void **state)
{
    (void)state;
    bool taken = true;
    struct mqtt_backoff b = { 0 };
    mqtt_backoff_ended(&b, MQTT_END_LOST, 100, &taken);
    assert_false(taken);
    mqtt_backoff_ended(&b, MQTT_END_NO_LINK, 0, &taken); /* in between the broker was away */
    mqtt_backoff_ended(&b, MQTT_END_CUT, 10, &taken);
    mqtt_backoff_ended(&b, MQTT_END_LOST, 100, &taken);
    assert_false(taken);
    assert_true(mqtt_backoff_ended(&b, MQTT_END_LOST, 100, &taken) >= 22500);
    assert_true(taken);
    mqtt_backoff_ended(&b, MQTT_END_LOST, 6000, &taken);
    assert_false(taken);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pauses_double_to_the_cap),
        cmocka_unit_test(clients_do_not_come_at_once),
        cmocka_unit_test(only_a_stable_link_starts_anew),
        cmocka_unit_test(a_takeover_said_by_the_broker_waits_long),
        cmocka_unit_test(brokers_that_go_are_no_takeover),
        cmocka_unit_test(three_quick_drops_are_a_takeover),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
