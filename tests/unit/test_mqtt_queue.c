#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "adapters/mqtt_queue.h"

static void an_item_comes_out_as_it_went_in(void **state)
{
    (void)state;
    struct mqtt_queue q;
    struct mqtt_item in = { .topic = "a/b",
                            .payload = "xy",
                            .payload_len = 2,
                            .reply_topic = "r/t",
                            .correlation = "c\0d",
                            .correlation_len = 3,
                            .qos = 1,
                            .retain = true,
                            .expiry_s = 7 };
    struct mqtt_item out;
    assert_true(mqtt_queue_init(&q, 4096));
    assert_false(mqtt_queue_front(&q, &out));
    mqtt_queue_drop(&q);
    assert_true(mqtt_queue_put(&q, &in));
    assert_true(mqtt_queue_front(&q, &out));
    assert_string_equal(out.topic, "a/b");
    assert_memory_equal(out.payload, "xy", 2);
    assert_memory_equal(out.correlation, "c\0d", 3);
    assert_string_equal(out.reply_topic, "r/t");
    assert_true(out.payload_len == 2 && out.correlation_len == 3 && out.qos == 1 && out.retain &&
                out.expiry_s == 7);
    mqtt_queue_drop(&q);
    in.correlation = NULL;
    in.reply_topic = NULL;
    in.payload = NULL;
    in.payload_len = 0;
    assert_true(mqtt_queue_put(&q, &in));
    assert_true(mqtt_queue_front(&q, &out));
    assert_null(out.correlation);
    assert_null(out.reply_topic);
    assert_int_equal(out.payload_len, 0);
    mqtt_queue_fini(&q);
}

static void order_holds_round_the_end_and_when_full(void **state)
{
    (void)state;
    struct mqtt_queue q;
    char payload[1500] = "", topic[16];
    unsigned put = 0, taken = 0, random = 1, refused = 0;
    assert_true(mqtt_queue_init(&q, 10000));
    for (int i = 0; i < 50000; i++) {
        random = random * 1103515245 + 12345;
        struct mqtt_item item = { .topic = topic,
                                  .payload = payload,
                                  .payload_len = (random >> 8) % sizeof payload };
        snprintf(topic, sizeof topic, "%u", put);
        if ((random >> 20) % 5 < 3) {
            if (mqtt_queue_put(&q, &item))
                put++;
            else
                refused++;
        } else if (mqtt_queue_front(&q, &item)) {
            assert_int_equal(strtoul(item.topic, NULL, 10), taken);
            taken++;
            mqtt_queue_drop(&q);
        }
        assert_int_equal(q.count, put - taken);
    }
    assert_true(refused > 100 && taken > 10000);
    mqtt_queue_clear(&q);
    assert_int_equal(q.count, 0);
    struct mqtt_item big = { .topic = "t", .payload = payload, .payload_len = 20000 };
    assert_false(mqtt_queue_put(&q, &big));
    mqtt_queue_fini(&q);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_item_comes_out_as_it_went_in),
        cmocka_unit_test(order_holds_round_the_end_and_when_full),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
