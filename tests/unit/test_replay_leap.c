/* Leaps of a capture's clock: elapsed time, or a wrong clock. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "cli/replay_leap.h"

#define NOON INT64_C(1772366400000)

static struct capture_line held[4];

static struct leap_queue leapt(int64_t ms, int count, int64_t apart_ms)
{
    for (int i = 0; i < count; i++)
        held[i].message.now.utc.ms = NOON + ms + i * apart_ms;
    return (struct leap_queue){ held, count, { NOON } };
}

static utc_t at(int64_t ms)
{
    return (utc_t){ NOON + ms };
}

static void what_is_no_leap(void **state)
{
    (void)state;
    struct leap_queue q = leapt(0, 0, 0);
    assert_int_equal(leap_judge(&q, at(LEAP_MS)), LEAP_NONE);
    assert_int_equal(leap_judge(&q, at(-MS_PER_DAY)), LEAP_NONE);
    assert_int_equal(leap_judge(&q, at(LEAP_MS + 1)), LEAP_WAIT);
    q.before = UTC_NONE;
    assert_int_equal(leap_judge(&q, at(MS_PER_DAY)), LEAP_NONE);
}

static void an_hour_of_nothing_is_an_hour(void **state)
{
    (void)state;
    struct leap_queue q = leapt(MS_PER_HOUR, 2, 60000);
    assert_int_equal(leap_judge(&q, at(MS_PER_HOUR + 120000)), LEAP_WAIT);
    assert_int_equal(leap_judge(&q, at(MS_PER_HOUR + LEAP_STAND_MS)), LEAP_ELAPSED);
}

static void a_leap_taken_back_was_false(void **state)
{
    (void)state;
    struct leap_queue q = leapt(MS_PER_DAY, 3, 60000);
    assert_int_equal(leap_judge(&q, at(240000)), LEAP_FALSE);
    assert_int_equal(leap_each_way_ms(&q, at(240000)), 60000);
    assert_int_equal(leap_each_way_ms(&q, at(1000)), 0);
    /* Back, but not to where it came from: a clock that was put back for good. */
    assert_int_equal(leap_judge(&q, at(-1)), LEAP_ELAPSED);
    assert_int_equal(leap_judge(&q, at(MS_PER_HOUR)), LEAP_ELAPSED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_no_leap),
        cmocka_unit_test(an_hour_of_nothing_is_an_hour),
        cmocka_unit_test(a_leap_taken_back_was_false),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
