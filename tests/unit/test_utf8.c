/* Characters after RFC 3629, sections 3 and 4. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "base/utf8.h"

static void check(const char *s, size_t want)
{
    assert_int_equal(utf8_bytes(s, strlen(s)), want);
}

static void sound_characters(void **state)
{
    (void)state;
    check("a", 1);
    check("\xC2\xB0", 2);
    check("\xE2\x82\xAC", 3);
    check("\xF0\x9F\x90\x9F", 4);
    check("\xF4\x8F\xBF\xBF", 4);
}

static void broken_ones(void **state)
{
    (void)state;
    check("\xB0", 0);             /* Latin-1 degree sign */
    check("\xC0\x80", 0);         /* overlong */
    check("\xE0\x9F\xBF", 0);     /* overlong */
    check("\xED\xA0\x80", 0);     /* surrogate */
    check("\xF4\x90\x80\x80", 0); /* beyond U+10FFFF */
    check("\xE2\x82", 0);         /* cut */
    check("\xFF", 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(sound_characters), cmocka_unit_test(broken_ones) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
