#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include "wire/json.h"

static struct json_doc doc;

static void read_doc(const char *text)
{
    struct why why;
    if (json_doc_parse(text, strlen(text), &doc, &why) != STATUS_OK)
        fail_msg("%s: %s", text, why.text);
}

static void number_is(const char *pointer, double want)
{
    struct json_item item = json_doc_at(&doc, pointer);
    if (item.kind != JSON_KIND_NUMBER || item.number != want)
        fail_msg("%s: kind %d, number %g, want %g", pointer, (int)item.kind, item.number, want);
}

static void text_is(const char *pointer, const char *want)
{
    struct json_item item = json_doc_at(&doc, pointer);
    if (item.kind != JSON_KIND_TEXT || strcmp(item.text, want) != 0)
        fail_msg("%s: kind %d, want %s", pointer, (int)item.kind, want);
}

static void kind_is(const char *pointer, enum json_kind want)
{
    assert_int_equal(json_doc_at(&doc, pointer).kind, want);
}

/* The example document of RFC 6901, section 5. */
static void pointers_of_the_standard(void **state)
{
    (void)state;
    read_doc(
        "{\"foo\":[\"bar\",\"baz\"],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,\"g|h\":4,\"i\\\\j\":5,\"k\\\"l\":6,"
        "\" \":7,\"m~n\":8}");
    kind_is("", JSON_KIND_CONTAINER);
    kind_is("/foo", JSON_KIND_CONTAINER);
    text_is("/foo/0", "bar");
    text_is("/foo/1", "baz");
    number_is("/", 0);
    number_is("/a~1b", 1);
    number_is("/c%d", 2);
    number_is("/e^f", 3);
    number_is("/g|h", 4);
    number_is("/i\\j", 5);
    number_is("/k\"l", 6);
    number_is("/ ", 7);
    number_is("/m~0n", 8);
    json_doc_fini(&doc);
}

static void pointers_that_lead_nowhere(void **state)
{
    (void)state;
    char longest[400];
    memset(longest, 'x', sizeof longest);
    longest[0] = '/';
    longest[sizeof longest - 1] = '\0';
    read_doc("{\"a\":[1,2],\"b\":3,\"\":{}}");
    const char *none[] = { "/c",   "/a/2", "/a/01", "/a/-", "/a/ 1", "/a/", "/a/99999999999999999999",
                           "/b/x", "b",    longest };
    for (size_t i = 0; i < sizeof none / sizeof *none; i++)
        kind_is(none[i], JSON_KIND_NONE);
    json_doc_fini(&doc);
    kind_is("/b", JSON_KIND_NONE);
}

static void sound_pointers(void **state)
{
    (void)state;
    assert_true(json_pointer_is_sound(""));
    assert_true(json_pointer_is_sound("/a~0b/~1/0"));
    assert_false(json_pointer_is_sound("a/b"));
    assert_false(json_pointer_is_sound("/a~2"));
    assert_false(json_pointer_is_sound("/a~"));
}

static void every_kind(void **state)
{
    (void)state;
    read_doc("[null,true,false,-1.5e2,9223372036854775807,\"x\",{},[],12345678901234567890]");
    kind_is("/0", JSON_KIND_NULL);
    kind_is("/1", JSON_KIND_BOOL);
    assert_true(json_doc_at(&doc, "/1").number == 1 && json_doc_at(&doc, "/2").number == 0);
    number_is("/3", -150);
    number_is("/4", 9223372036854775807.0);
    assert_true(json_doc_at(&doc, "/4").is_whole && json_doc_at(&doc, "/4").whole == INT64_MAX);
    assert_false(json_doc_at(&doc, "/3").is_whole);
    text_is("/8", "12345678901234567890"); /* a serial number is compared to its last digit */
    kind_is("/6", JSON_KIND_CONTAINER);
    kind_is("/7", JSON_KIND_CONTAINER);
    json_doc_fini(&doc);
}

static void not_a_number_spares_its_siblings(void **state)
{
    (void)state;
    static const char *const words[] = {
        "NaN", "nan", "-nan", "Infinity", "-Infinity", "inf", "-inf", "+Inf"
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        char text[120];
        snprintf(text, sizeof text,
                 "{\"note\":\"NaN, inf: \\\" nan\",\"t\":%s,\"ec\" : 412.5 ,\"l\":[%s ,1]}", words[i],
                 words[i]);
        read_doc(text);
        kind_is("/t", JSON_KIND_NULL);
        number_is("/ec", 412.5);
        kind_is("/l/0", JSON_KIND_NULL);
        number_is("/l/1", 1);
        text_is("/note", "NaN, inf: \" nan");
        json_doc_fini(&doc);
    }
}

static void other_words_become_text(void **state)
{
    (void)state;
    static const char *const words[] = { "1e999", "-1e400", "+5",  ".5",   "25.",
                                         "007",   "None",   "???", "0x1F", "25.3C" };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        char text[120];
        snprintf(text, sizeof text, "{\"t\":%s,\"ec\":412.5}", words[i]);
        read_doc(text);
        text_is("/t", words[i]);
        number_is("/ec", 412.5);
        json_doc_fini(&doc);
    }
}

static void a_full_document_of_bad_words(void **state)
{
    (void)state;
    static char text[JSON_DOC_BYTES_MAX];
    memset(text, '?', sizeof text);
    for (size_t i = 2; i < sizeof text; i += 2)
        text[i] = ',';
    text[0] = '[';
    text[sizeof text - 2] = '?';
    text[sizeof text - 1] = ']';
    assert_int_equal(json_doc_parse(text, sizeof text, &doc, NULL), STATUS_OK);
    text_is("/0", "?");
    json_doc_fini(&doc);
}

static void embedded_nul(void **state)
{
    (void)state;
    read_doc("{\"a\":\"x\\u0000y\",\"b\":1}");
    assert_int_equal(json_doc_at(&doc, "/a").text_len, 3);
    number_is("/b", 1);
    json_doc_fini(&doc);
    assert_int_equal(json_doc_parse("{\"a\":\0 1}", 9, &doc, NULL), STATUS_INVALID);
    assert_int_equal(json_doc_parse("{\"a\":\"\0\"}", 9, &doc, NULL), STATUS_INVALID);
}

static void around_the_document(void **state)
{
    (void)state;
    assert_int_equal(json_doc_parse("\xEF\xBB\xBF {\"a\":1}\r\n\0", 14, &doc, NULL), STATUS_OK);
    number_is("/a", 1);
    json_doc_fini(&doc);
    assert_int_equal(json_doc_parse("{\"a\":1}\0\0", 9, &doc, NULL), STATUS_INVALID);
}

static void refused(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        " ",
        "25.3",
        "\"x\"",
        "???",
        "nan",
        "{",
        "}",
        "[",
        "{\"a\":1",
        "{\"a\":1}}",
        "{\"a\":1} x",
        "{a:1}",
        "{a :nan}",
        "{\"a\":1,}",
        "{\"a\" 1}",
        "{\"a\":1,\"a\":2}",
        "{\"a\":nan,\"a\":2}",
        "{\"a\":'x'",
        "{\"a\":\"x}",
        "{\"a\":\"\\q\"}",
        "{\"a\":\"\\",
        "{\"a\":25,3}",
        "{\"a\":1}{\"a\":1}",
        "{nan:1}",
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct why why = { "" };
        doc.root = &doc;
        if (json_doc_parse(bad[i], strlen(bad[i]), &doc, &why) == STATUS_OK)
            fail_msg("accepted: %s", bad[i]);
        assert_null(doc.root);
        assert_string_not_equal(why.text, "");
    }
    static char large[JSON_DOC_BYTES_MAX + 1];
    memset(large, ' ', sizeof large);
    memcpy(large, "{}", 2);
    assert_int_equal(json_doc_parse(large, sizeof large, &doc, NULL), STATUS_INVALID);
    assert_int_equal(json_doc_parse(large, sizeof large - 1, &doc, NULL), STATUS_OK);
    json_doc_fini(&doc);
}

static void depth_is_bounded(void **state)
{
    (void)state;
    char text[4 * JSON_DOC_DEPTH_MAX];
    for (int depth = JSON_DOC_DEPTH_MAX; depth <= JSON_DOC_DEPTH_MAX + 1; depth++) {
        memset(text, '[', (size_t)depth);
        memset(text + depth, ']', (size_t)depth);
        enum status st = json_doc_parse(text, 2 * (size_t)depth, &doc, NULL);
        assert_int_equal(st, depth > JSON_DOC_DEPTH_MAX ? STATUS_INVALID : STATUS_OK);
        json_doc_fini(&doc);
    }
    static char endless[JSON_DOC_BYTES_MAX];
    memset(endless, '[', sizeof endless);
    assert_int_equal(json_doc_parse(endless, sizeof endless, &doc, NULL), STATUS_INVALID);
    read_doc("{\"a\":\"[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[\"}");
    json_doc_fini(&doc);
}

static void members_by_index(void **state)
{
    (void)state;
    read_doc("{\"tank\":1,\"minutes\":2}");
    assert_string_equal(json_doc_key(&doc, "", 0), "tank");
    assert_string_equal(json_doc_key(&doc, "", 1), "minutes");
    assert_null(json_doc_key(&doc, "", 2));
    assert_true(json_doc_is_object(&doc));
    json_doc_fini(&doc);
    read_doc("[1]");
    assert_null(json_doc_key(&doc, "", 0));
    assert_false(json_doc_is_object(&doc));
    json_doc_fini(&doc);
}

/* Old devices send a degree sign as the one byte of Latin-1. */
static void latin_1_text_is_read(void **state)
{
    (void)state;
    static const char payload[] = "{\"unit\":\"\xB0"
                                  "C\",\"t\":21.5}";

    assert_int_equal(json_doc_parse(payload, sizeof payload - 1, &doc, NULL), STATUS_OK);
    assert_string_equal(json_doc_at(&doc, "/unit").text, "\xC2\xB0"
                                                         "C");
    assert_true(json_doc_at(&doc, "/t").number == 21.5);
    json_doc_fini(&doc);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pointers_of_the_standard),
        cmocka_unit_test(pointers_that_lead_nowhere),
        cmocka_unit_test(sound_pointers),
        cmocka_unit_test(every_kind),
        cmocka_unit_test(not_a_number_spares_its_siblings),
        cmocka_unit_test(other_words_become_text),
        cmocka_unit_test(a_full_document_of_bad_words),
        cmocka_unit_test(embedded_nul),
        cmocka_unit_test(around_the_document),
        cmocka_unit_test(refused),
        cmocka_unit_test(latin_1_text_is_read),
        cmocka_unit_test(depth_is_bounded),
        cmocka_unit_test(members_by_index),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
