#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/style.h"

static void only_when_coloured(void **state)
{
    (void)state;
    char buf[64];
    struct text out = text_over(buf, sizeof buf);
    style_put(&out, false, STYLE_ALARM);
    style_put(&out, false, STYLE_PLAIN);
    assert_string_equal(buf, "");
    style_put(&out, true, STYLE_WARN);
    style_put(&out, true, STYLE_PLAIN);
    assert_string_equal(buf, "\033[33m\033[0m");
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(only_when_coloured) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
