#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>
#include "base/text.h"

static void puts_pieces(void **state)
{
    (void)state;
    char buf[64];
    struct text t = text_over(buf, sizeof buf);
    text_put(&t, "tank/");
    text_put_n(&t, "a1xx", 2);
    text_printf(&t, " %d °C", 24);
    assert_string_equal(buf, "tank/a1 24 °C");
    assert_int_equal(t.len, strlen(buf));
    assert_false(t.cut);
    text_clear(&t);
    assert_string_equal(buf, "");
}

static void overflow_is_remembered_never_written(void **state)
{
    (void)state;
    char buf[8] = "#######";
    struct text t = text_over(buf, 6);
    text_put(&t, "abcdefgh");
    assert_true(t.cut);
    assert_string_equal(buf, "abcde");
    assert_int_equal(buf[6], '#');
    text_put(&t, "");
    text_printf(&t, "x");
    assert_string_equal(buf, "abcde");
    t = text_over(buf, 6);
    text_printf(&t, "%s", "123456");
    assert_true(t.cut);
    assert_string_equal(buf, "12345");
    t = text_over(buf, 6);
    text_put(&t, "12345");
    assert_false(t.cut);
    t = text_over(NULL, 0);
    assert_true(t.cut);
    text_put(&t, "x");
    text_printf(&t, "x");
}

static void nothing_follows_what_was_left_out(void **state)
{
    (void)state;
    char buf[6];
    struct text t = text_over(buf, sizeof buf);
    text_put(&t, "abc");
    text_put(&t, "°°");
    text_put(&t, "d");
    assert_string_equal(buf, "abc°");
}

static void characters_stay_whole(void **state)
{
    (void)state;
    const char *want[] = { "", "", "°", "°", "°\xE2\x80\xA6", "°\xE2\x80\xA6" };
    const size_t room[] = { 0, 1, 2, 4, 5, 6 };
    for (size_t i = 0; i < 6; i++) {
        char buf[16];
        struct text t = text_over(buf, room[i] + 1);
        text_put(&t, "°\xE2\x80\xA6°");
        assert_string_equal(buf, want[i]);
        t = text_over(buf, room[i] + 1);
        text_printf(&t, "%s", "°\xE2\x80\xA6°");
        assert_string_equal(buf, want[i]);
        assert_true(t.cut);
    }
}

static void a_document(void **state)
{
    (void)state;
    char buf[400];
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    json_key(&t, "v");
    json_int(&t, 1);
    json_key(&t, "list");
    json_open(&t, '[');
    json_number(&t, 24.5, 2);
    json_number(&t, 0.1, -1);
    json_number(&t, NAN, 2);
    json_number(&t, INFINITY, -1);
    json_string(&t, "x");
    json_open(&t, '{');
    json_close(&t, '}');
    json_open(&t, '[');
    json_close(&t, ']');
    json_close(&t, ']');
    json_key(&t, "yes");
    json_bool(&t, true);
    json_key(&t, "no");
    json_bool(&t, false);
    json_key(&t, "none");
    json_null(&t);
    json_key(&t, "t");
    json_time(&t, (utc_t){ 1 });
    json_key(&t, "never");
    json_time(&t, UTC_NONE);
    json_close(&t, '}');
    assert_string_equal(buf, "{\"v\":1,\"list\":[24.50,0.1,null,null,\"x\",{},[]],\"yes\":true,\"no\":false,"
                             "\"none\":null,\"t\":\"1970-01-01T00:00:00.001Z\",\"never\":null}");
}

static void two_documents_on_two_lines(void **state)
{
    (void)state;
    char buf[20];
    struct text t = text_over(buf, sizeof buf);
    json_bool(&t, true);
    text_put(&t, "\n");
    json_int(&t, -7);
    assert_string_equal(buf, "true\n-7");
}

static void strings_are_escaped(void **state)
{
    (void)state;
    char buf[200];
    struct text t = text_over(buf, sizeof buf);
    json_string_n(&t, "a\"b\\c/\n\r\t\b\f\x01\0z\x7F", 15);
    assert_string_equal(buf, "\"a\\\"b\\\\c/\\n\\r\\t\\b\\f\\u0001\\u0000z\x7F\"");
}

static void bytes_that_are_no_characters(void **state)
{
    (void)state;
#define BOX "\xEF\xBF\xBD"
    static const struct {
        const char *in, *out;
    } rows[] = {
        { "\xC2\xB5S", "\"\xC2\xB5S\"" },
        { "\xF0\x9F\xA6\x90", "\"\xF0\x9F\xA6\x90\"" },
        { "\xB5S", "\"" BOX "S\"" },       /* Latin-1 */
        { "a\xC2", "\"a" BOX "\"" },       /* halved */
        { "\xC0\x80", "\"" BOX BOX "\"" }, /* overlong */
        { "\xE0\x80\x80", "\"" BOX BOX BOX "\"" },
        { "\xED\xA0\x80", "\"" BOX BOX BOX "\"" },         /* a surrogate */
        { "\xF4\x90\x80\x80", "\"" BOX BOX BOX BOX "\"" }, /* beyond the last */
        { "\xF5\xFF", "\"" BOX BOX "\"" },
        { "\xE2\x82\"", "\"" BOX BOX "\\\"\"" },
    };
    char buf[64];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct text t = text_over(buf, sizeof buf);
        json_string(&t, rows[i].in);
        assert_string_equal(buf, rows[i].out);
    }
}

static void a_member_not_given_is_left_out(void **state)
{
    char buf[64];
    struct text t = text_over(buf, sizeof buf);
    (void)state;
    json_open(&t, '{');
    json_put_given(&t, "who", "Ada");
    json_put_given(&t, "why", NULL);
    json_put_given(&t, "what", "");
    json_put_text(&t, "text", "");
    json_close(&t, '}');
    assert_string_equal(buf, "{\"who\":\"Ada\",\"what\":\"\",\"text\":null}");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(puts_pieces),
        cmocka_unit_test(overflow_is_remembered_never_written),
        cmocka_unit_test(nothing_follows_what_was_left_out),
        cmocka_unit_test(characters_stay_whole),
        cmocka_unit_test(a_document),
        cmocka_unit_test(two_documents_on_two_lines),
        cmocka_unit_test(strings_are_escaped),
        cmocka_unit_test(a_member_not_given_is_left_out),
        cmocka_unit_test(bytes_that_are_no_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
