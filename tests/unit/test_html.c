/* Nothing that people named or wrote becomes markup. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "show/html.h"

static char buf[512];

static const char *escaped(const char *s)
{
    struct text out = text_over(buf, sizeof buf);
    html_put(&out, s);
    return buf;
}

static void markup_is_written_out(void **state)
{
    (void)state;
    assert_string_equal(escaped("Bees & <b>\"Tigers\"</b> 'x'"),
                        "Bees &amp; &lt;b&gt;&quot;Tigers&quot;&lt;/b&gt; &#39;x&#39;");
    assert_string_equal(escaped("&amp;"), "&amp;amp;");
    assert_string_equal(escaped(""), "");
}

static void other_letters_pass_and_rubbish_does_not(void **state)
{
    (void)state;
    assert_string_equal(escaped("Ærø 蝦 µS/cm"), "Ærø 蝦 µS/cm");
    assert_string_equal(escaped("a\tb\nc\x7f"), "a b c ");
    assert_string_equal(escaped("a\xff\xc3"), "a\xEF\xBF\xBD\xEF\xBF\xBD");
    assert_string_equal(escaped("\xc0\xbc"), "\xEF\xBF\xBD\xEF\xBF\xBD"); /* an overlong < */
}

static void elements_and_numbers(void **state)
{
    struct text out = text_over(buf, sizeof buf);
    (void)state;
    html_element(&out, "td", "n", "<1");
    html_element(&out, "p", NULL, "a");
    html_number(&out, 20.456, 1);
    html_number(&out, NAN, 1);
    assert_string_equal(buf, "<td class=\"n\">&lt;1</td><p>a</p>20.5–");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(markup_is_written_out),
        cmocka_unit_test(other_letters_pass_and_rubbish_does_not),
        cmocka_unit_test(elements_and_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
