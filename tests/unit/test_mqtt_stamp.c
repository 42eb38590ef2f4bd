/* Arrival in the same millisecond keeps its order; the clock is never left far behind. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "adapters/mqtt_stamp.h"

static struct mqtt_stamps stamps;

static int64_t stamp(const char *topic, int64_t ms)
{
    return mqtt_stamp(&stamps, topic, 2, (utc_t){ ms }).ms;
}

static int begin(void **state)
{
    (void)state;
    stamps = (struct mqtt_stamps){ { 0 } };
    return 0;
}

static void the_same_millisecond_is_used_once(void **state)
{
    (void)state;
    assert_int_equal(stamp("a1", 5000), 5000);
    assert_int_equal(stamp("a1", 5000), 5001);
    assert_int_equal(stamp("a1", 5001), 5002);
    assert_int_equal(stamp("a1", 5010), 5010);
}

static void topics_do_not_push_each_other(void **state)
{
    (void)state;
    assert_int_equal(stamp("a1", 5000), 5000);
    assert_int_equal(stamp("a2", 5000), 5000);
}

static void a_flood_does_not_run_away_from_the_clock(void **state)
{
    (void)state;
    for (int i = 0; i < 10000; i++)
        assert_true(stamp("a1", 5000) <= 5000 + MQTT_STAMP_LEAD_MS);
}

static void a_clock_set_back_is_followed(void **state)
{
    (void)state;
    assert_int_equal(stamp("a1", 5000000), 5000000);
    assert_int_equal(stamp("a1", 1400000), 1400000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(the_same_millisecond_is_used_once, begin),
        cmocka_unit_test_setup(topics_do_not_push_each_other, begin),
        cmocka_unit_test_setup(a_flood_does_not_run_away_from_the_clock, begin),
        cmocka_unit_test_setup(a_clock_set_back_is_followed, begin),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
