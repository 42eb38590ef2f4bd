#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <sys/timex.h>
#include <time.h>

#include <cmocka.h>

#include "adapters/clock.h"

static bool kernel_says_synchronised(void)
{
    struct timex t = { .modes = 0 };
    int state = adjtimex(&t);
    return state >= 0 && state != TIME_ERROR && (t.status & STA_UNSYNC) == 0;
}

static void both_clocks_run_and_agree_with_the_system(void **state)
{
    (void)state;
    struct now a = clock_now();
    int64_t wall = (int64_t)time(NULL) * MS_PER_S;
    struct now b = clock_now();
    assert_true(a.utc.ms >= wall - 1000 && a.utc.ms <= wall + 2000);
    assert_true(b.mono.ms >= a.mono.ms && b.mono.ms - a.mono.ms < 5000);
    assert_true(a.mono.ms > 0);
}

static void build_day_is_a_sane_midnight(void **state)
{
    (void)state;
    utc_t built = clock_built();
    assert_int_equal(built.ms % MS_PER_DAY, 0);
    assert_true(built.ms >= INT64_C(1700000000000));
    assert_true(clock_now().utc.ms >= built.ms);
}

static void a_clock_past_the_floor_is_trusted_one_before_it_is_not(void **state)
{
    (void)state;
    assert_true(clock_now().trusted);
    clock_trust_after((utc_t){ clock_now().utc.ms - MS_PER_DAY });
    clock_trust_after(UTC_NONE);
    assert_true(clock_now().trusted);
    clock_trust_after((utc_t){ clock_now().utc.ms + MS_PER_DAY });
    assert_int_equal(clock_now().trusted, kernel_says_synchronised());
    clock_trust_after(
        (utc_t){ clock_now().utc.ms - MS_PER_DAY }); /* an earlier one does not lower the floor */
    assert_int_equal(clock_now().trusted, kernel_says_synchronised());
}

static void local_minute_follows_the_zone_and_its_summer_time(void **state)
{
    (void)state;
    utc_t january = { INT64_C(1768478400000) }; /* 2026-01-15T12:00:00Z, a Thursday */
    utc_t july = { INT64_C(1784116800000) };    /* 2026-07-15T12:00:00Z, a Wednesday */
    clock_set_timezone("UTC0");
    assert_int_equal(clock_local_minute(january), 12 * 60);
    assert_int_equal(clock_local_weekday(january), 4);
    clock_set_timezone("CET-1CEST,M3.5.0,M10.5.0/3");
    assert_int_equal(clock_local_minute(january), 13 * 60);
    assert_int_equal(clock_local_minute(july), 14 * 60);
    clock_set_timezone("XXX-13");
    assert_int_equal(clock_local_minute(july), 60);
    assert_int_equal(clock_local_weekday(july), 4);
    clock_set_timezone(NULL);
    assert_null(getenv("TZ"));
}

static void times_before_1970_do_not_confuse_it(void **state)
{
    (void)state;
    clock_set_timezone("UTC0");
    assert_int_equal(clock_local_minute((utc_t){ -1 }), 23 * 60 + 59);
}

static void monotonic_microseconds_advance(void **state)
{
    (void)state;
    uint64_t a = clock_monotonic_us();
    assert_true(a > 0);
    assert_true(clock_monotonic_us() >= a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_clocks_run_and_agree_with_the_system),
        cmocka_unit_test(build_day_is_a_sane_midnight),
        cmocka_unit_test(a_clock_past_the_floor_is_trusted_one_before_it_is_not),
        cmocka_unit_test(local_minute_follows_the_zone_and_its_summer_time),
        cmocka_unit_test(times_before_1970_do_not_confuse_it),
        cmocka_unit_test(monotonic_microseconds_advance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
