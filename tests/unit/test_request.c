#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "wire/request.h"

static struct why why;

static struct request made(const char *json)
{
    struct request r = { .why = &why, .st = STATUS_OK };
    assert_int_equal(json_doc_parse(json, strlen(json), &r.doc, &why), STATUS_OK);
    return r;
}

static void members_by_whole_words(void **state)
{
    (void)state;
    static const char *const bad[] = { "{\"lac\":1}", "{\"place tank\":1}", "{\"\":1}", "{\"tankx\":1}" };
    struct request r = made("{\"place\":1,\"tank\":2,\"at\":3}");
    request_refuse_unknown(&r, "place tank at");
    assert_int_equal(r.st, STATUS_OK);
    json_doc_fini(&r.doc);
    for (unsigned i = 0; i < sizeof bad / sizeof *bad; i++) {
        r = made(bad[i]);
        request_refuse_unknown(&r, "place tank at");
        assert_int_equal(r.st, STATUS_INVALID);
        json_doc_fini(&r.doc);
    }
}

static void the_first_fault_ends_it(void **state)
{
    (void)state;
    struct request r = made("{\"a\":\"x\",\"b\":5,\"c\":\"word\"}");
    double v = NAN;
    char buf[16] = "before";
    request_number(&r, "a", 0, 10, &v);
    assert_int_equal(r.st, STATUS_INVALID);
    request_number(&r, "b", 0, 10, &v);
    request_text(&r, "c", buf, sizeof buf);
    assert_true(isnan(v));
    assert_string_equal(buf, "before");
    json_doc_fini(&r.doc);
    r = made("{\"b\":11,\"t\":\"2026-03-01T12:00:00\"}");
    utc_t t = { 5 };
    request_time(&r, "none", &t);
    assert_int_equal(t.ms, 5);
    request_time(&r, "t", &t);
    assert_int_equal(r.st, STATUS_INVALID);
    json_doc_fini(&r.doc);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(members_by_whole_words),
                                        cmocka_unit_test(the_first_fault_ends_it) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
