#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "cli/live.h"

static struct live live;

static enum status parse(const char *json)
{
    return live_parse(json, strlen(json), &live);
}

static void values_that_can_be_started_from(void **state)
{
    (void)state;
    assert_int_equal(
        parse(
            "{\"v\":1,\"values\":{\"temp\":{\"value\":22.5,\"age_s\":3,\"stale\":false,\"origin\":\"probe\"},"
            "\"ec\":{\"value\":231,\"age_s\":9000,\"stale\":true,\"origin\":\"probe\"},"
            "\"gh\":{\"value\":5,\"age_s\":86400,\"stale\":false,\"origin\":\"hand\"},"
            "\"kh\":{\"value\":3,\"age_s\":1}}}"),
        STATUS_OK);
    assert_true(live.value[Q_TEMP] == 22.5 && live.age_s[Q_TEMP] == 3 && !live.hand[Q_TEMP]);
    assert_true(isnan(live.value[Q_EC]));
    assert_true(live.value[Q_GH] == 5 && live.hand[Q_GH]);
    assert_true(isnan(live.value[Q_KH])); /* its age is not told for sure */
    assert_true(isnan(live.value[Q_PH]));
}

static void what_is_no_document_of_ours(void **state)
{
    (void)state;
    assert_int_equal(parse("{\"v\":2,\"values\":{}}"), STATUS_INVALID);
    assert_int_equal(parse("{\"v\":1}"), STATUS_INVALID);
    assert_int_equal(parse("[1]"), STATUS_INVALID);
    assert_int_equal(parse("{"), STATUS_INVALID);
    assert_int_equal(parse(""), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(values_that_can_be_started_from),
                                        cmocka_unit_test(what_is_no_document_of_ours) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
