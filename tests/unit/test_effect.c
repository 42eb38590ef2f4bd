#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "model/effect.h"

static void events_have_names_of_their_own(void **state)
{
    (void)state;
    for (int i = 0; i < EVENT_COUNT; i++) {
        assert_non_null(event_kind_name((enum event_kind)i));
        for (int j = 0; j < i; j++)
            assert_string_not_equal(event_kind_name((enum event_kind)i), event_kind_name((enum event_kind)j));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(events_have_names_of_their_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
