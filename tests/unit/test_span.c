#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "near.h"

#include "base/span.h"

static void units_and_fractions(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double seconds;
    } good[] = { { "90", 90 },     { "30s", 30 },    { "15m", 900 },   { "1.5h", 5400 },
                 { "2d", 172800 }, { "1w", 604800 }, { "-1h", -3600 }, { "0", 0 } };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        double v = -7;
        assert_int_equal(span_parse(good[i].text, &v), STATUS_OK);
        assert_near(v, good[i].seconds, 1e-9);
    }
}

static void rubbish_is_refused(void **state)
{
    (void)state;
    static const char *const bad[] = { "", "h", "6 h", "6hh", "nan", "1e308w", "6x", "0x10" };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        double v = -7;
        assert_int_equal(span_parse(bad[i], &v), STATUS_INVALID);
        assert_near(v, -7, 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_and_fractions),
        cmocka_unit_test(rubbish_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
