#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "rehearse/docbuild.h"

static const char *written(const struct doc *d)
{
    static char buf[4096];
    struct text t = text_over(buf, sizeof buf);
    doc_write(d, &t);
    return buf;
}

static void levels_are_joined(void **state)
{
    (void)state;
    struct doc d = { .count = 0 };
    doc_number(&d, "/t/water", 77.1, 2);
    doc_string(&d, "/id", "b2");
    doc_number(&d, "/t/air", 68, 0);
    doc_null(&d, "/ph");
    assert_string_equal(written(&d), "{\"t\":{\"water\":77.10,\"air\":68},\"id\":\"b2\",\"ph\":null}");
}

static void indices_make_arrays(void **state)
{
    (void)state;
    struct doc d = { .count = 0 };
    doc_number(&d, "/v/2/x", 1.5, 1);
    doc_string(&d, "/v/0", "a");
    assert_string_equal(written(&d), "{\"v\":[\"a\",null,{\"x\":1.5}]}");
    struct doc words = { .count = 0 };
    doc_number(&words, "/v/01", 1, 0);
    doc_number(&words, "/w/0", 1, 0);
    doc_number(&words, "/w/b", 2, 0);
    assert_string_equal(written(&words), "{\"v\":{\"01\":1},\"w\":{\"0\":1,\"b\":2}}");
}

static void escapes_are_undone(void **state)
{
    (void)state;
    struct doc d = { .count = 0 };
    doc_number(&d, "/a~1b/m~0n", 1, 0);
    doc_string(&d, "/q\"", "x\"y");
    assert_string_equal(written(&d), "{\"a/b\":{\"m~n\":1},\"q\\\"\":\"x\\\"y\"}");
}

static void a_bare_value_and_doubles(void **state)
{
    (void)state;
    struct doc bare = { .count = 0 }, twice = { .count = 0 };
    doc_number(&bare, "", 4.25, -1);
    assert_string_equal(written(&bare), "4.25");
    doc_number(&twice, "/a", 1, 0);
    doc_number(&twice, "/a", 2, 0);
    assert_string_equal(written(&twice), "{\"a\":1}");
}

static void full_is_full(void **state)
{
    (void)state;
    struct doc d = { .count = 0 };
    for (int i = 0; i < 2 * DOC_ITEMS_MAX; i++)
        doc_number(&d, "/a", i, 0);
    assert_int_equal(d.count, DOC_ITEMS_MAX);
    char longer[200];
    memset(longer, 'x', sizeof longer);
    longer[199] = '\0';
    d.count = 0;
    doc_string(&d, "/s", longer);
    assert_int_equal(strlen(d.items[0].string), DOC_TEXT_MAX - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_are_joined),  cmocka_unit_test(indices_make_arrays),
        cmocka_unit_test(escapes_are_undone), cmocka_unit_test(a_bare_value_and_doubles),
        cmocka_unit_test(full_is_full),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
