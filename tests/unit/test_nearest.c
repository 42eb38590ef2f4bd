#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "base/nearest.h"

static const char *const fruit[] = { "heater-dead", "heater-stuck", "leak", "waste" };

static void distance_counts_slips(void **state)
{
    (void)state;
    assert_int_equal(nearest_distance("leak", "leak"), 0);
    assert_int_equal(nearest_distance("leka", "leak"), 1);
    assert_int_equal(nearest_distance("lea", "leak"), 1);
    assert_int_equal(nearest_distance("leaks", "leak"), 1);
    assert_int_equal(nearest_distance("LEAK", "leak"), 0);
    assert_int_equal(nearest_distance("", "leak"), 4);
    assert_int_equal(nearest_distance("kitten", "sitting"), 3);
}

static void the_nearest_is_named(void **state)
{
    (void)state;
    assert_string_equal(nearest_of("heater_dead", fruit, 4), "heater-dead");
    assert_string_equal(nearest_of("heatr-stuck", fruit, 4), "heater-stuck");
    assert_string_equal(nearest_of("wsate", fruit, 4), "waste");
}

static void nothing_near_is_nothing(void **state)
{
    (void)state;
    assert_null(nearest_of("xyzzy", fruit, 4));
    assert_null(nearest_of("leak", fruit, 0));
}

static void long_words_stay_in_bounds(void **state)
{
    (void)state;
    char a[201], b[201];
    for (int i = 0; i < 200; i++) {
        a[i] = 'a';
        b[i] = 'b';
    }
    a[200] = b[200] = '\0';
    assert_int_equal(nearest_distance(a, b), 63);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(distance_counts_slips),
        cmocka_unit_test(the_nearest_is_named),
        cmocka_unit_test(nothing_near_is_nothing),
        cmocka_unit_test(long_words_stay_in_bounds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
