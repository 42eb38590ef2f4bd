/* Columns, not bytes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/width.h"

static const char *put(const char *s, int columns, bool right)
{
    static char buf[256];
    struct text out = text_over(buf, sizeof buf);
    width_put(&out, s, columns, right);
    return buf;
}

static void counts_columns(void **state)
{
    (void)state;
    assert_int_equal(width_of("24 °C"), 5);
    assert_int_equal(width_of("µS/cm"), 5);
    assert_int_equal(width_of("水槽"), 4);
    assert_int_equal(width_of("e\xCC\x81"), 1);
    assert_int_equal(width_of("a\xff\x80z"), 4);
    assert_int_equal(width_of("\xC3"), 1);
}

static void pads_and_cuts(void **state)
{
    (void)state;
    assert_string_equal(put("°C", 4, false), "°C  ");
    assert_string_equal(put("°C", 4, true), "  °C");
    assert_string_equal(put("heater", 6, false), "heater");
    assert_string_equal(put("heaters", 6, true), "heate…");
    assert_string_equal(put("水槽水", 4, false), "水… ");
    assert_string_equal(put("x", 0, false), "");
    assert_string_equal(put("a\nb\x7f", 4, false), "a?b?");
    assert_string_equal(put("\xC2\x9B", 1, false), "?");
    assert_string_equal(put("\xE2\x80\xAE", 1, false), "?");
}

static void wraps_words(void **state)
{
    (void)state;
    char buf[256];
    struct text out = text_over(buf, sizeof buf);
    width_wrap(&out, "one two three  four", 9, 2, 0);
    assert_string_equal(buf, "one two\n  three\n  four\n");
    out = text_over(buf, sizeof buf);
    width_wrap(&out, "", 9, 2, 0);
    assert_string_equal(buf, "\n");
    out = text_over(buf, sizeof buf);
    width_wrap(&out, "unbreakably-long", 9, 2, 0);
    assert_string_equal(buf, "unbreakably-long\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(counts_columns), cmocka_unit_test(pads_and_cuts),
                                        cmocka_unit_test(wraps_words) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
