/* Forecasts in words. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "model/forecast.h"

#define NOON INT64_C(1772366400000)

static utc_t in_min(int64_t min)
{
    return (utc_t){ NOON + min * MS_PER_MIN };
}

static const char *said(const struct forecast *f, const char *who)
{
    static char buf[160];
    struct text out = text_over(buf, sizeof buf);
    buf[0] = '\0';
    forecast_put(f, who, (utc_t){ NOON }, &out);
    return buf;
}

static void as_people_say_it(void **state)
{
    struct forecast f = { Q_TEMP, 0, 20.5, in_min(158), in_min(121), in_min(207) };
    (void)state;
    assert_string_equal(said(&f, NULL), "reaches 20.5 °C in about 2 h 40 min (2 h to 3 h 30 min)");
    f.at_late = UTC_NONE;
    assert_string_equal(said(&f, "tank/a3"),
                        "tank/a3 reaches 20.5 °C in about 2 h 40 min (2 h at the earliest, perhaps never)");
    f = (struct forecast){ Q_EC, 0, 320, in_min(5 * 1440 + 100), in_min(4 * 1440), in_min(8 * 1440) };
    assert_string_equal(said(&f, NULL), "reaches 320 µS/cm in about 5 d (4 d to 8 d)");
}

static void nothing_when_there_is_none_or_it_is_past(void **state)
{
    struct forecast f = FORECAST_NONE;
    (void)state;
    assert_string_equal(said(&f, NULL), "");
    f = (struct forecast){ Q_TEMP, 0, 20.5, in_min(0), in_min(-10), in_min(10) };
    assert_string_equal(said(&f, NULL), "");
}

static void spans_are_round(void **state)
{
    (void)state;
    assert_int_equal(forecast_round(0), 5 * MS_PER_MIN);
    assert_int_equal(forecast_round(23 * MS_PER_MIN), 25 * MS_PER_MIN);
    assert_int_equal(forecast_round(124 * MS_PER_MIN), 120 * MS_PER_MIN);
    assert_int_equal(forecast_round(7 * MS_PER_HOUR + 14 * MS_PER_MIN), 7 * MS_PER_HOUR);
    assert_int_equal(forecast_round(26 * MS_PER_HOUR + 40 * MS_PER_MIN), 27 * MS_PER_HOUR);
    assert_int_equal(forecast_round(100 * MS_PER_HOUR), 96 * MS_PER_HOUR);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_people_say_it),
        cmocka_unit_test(nothing_when_there_is_none_or_it_is_past),
        cmocka_unit_test(spans_are_round),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
