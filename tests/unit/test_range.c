/* The sentence and the edges. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/range.h"
#include "near.h"

static void edges_are_inside(void **state)
{
    (void)state;
    assert_int_equal(range_check(NULL, "x", 0, 0, 36, "°C"), STATUS_OK);
    assert_int_equal(range_check(NULL, "x", 36, 0, 36, "°C"), STATUS_OK);
}

static void sentence_tells_all(void **state)
{
    (void)state;
    struct why why;
    near(0, 0, 0);
    assert_int_equal(range_check(&why, "temperature", 40.5, 0, 36, "°C"), STATUS_INVALID);
    assert_string_equal(why.text, "temperature 40.5 °C is outside 0 to 36 °C, where this holds");
    assert_int_equal(range_check(&why, "pH", (double)NAN, 4, 11, ""), STATUS_INVALID);
    assert_string_equal(why.text, "pH is not known");
    assert_int_equal(range_check(&why, "pH", (double)INFINITY, 4, 11, ""), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(edges_are_inside),
        cmocka_unit_test(sentence_tells_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
