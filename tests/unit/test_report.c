#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "model/report.h"

static void derived_values_have_names_of_their_own(void **state)
{
    (void)state;
    for (int i = 0; i < DERIVED_COUNT; i++) {
        assert_non_null(derived_name((enum derived)i));
        assert_non_null(derived_unit((enum derived)i));
        for (int j = 0; j < i; j++)
            assert_string_not_equal(derived_name((enum derived)i), derived_name((enum derived)j));
    }
    assert_string_equal(derived_unit(DERIVED_KH_EST), "°dH");
}

static void origins(void **state)
{
    (void)state;
    assert_string_equal(value_origin_name(ORIGIN_NONE), "none");
    assert_string_equal(value_origin_name(ORIGIN_DERIVED), "derived");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(derived_values_have_names_of_their_own),
        cmocka_unit_test(origins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
