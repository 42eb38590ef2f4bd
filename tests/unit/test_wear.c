/* Bytes a day from a count: at first since the start, then over the last day and nothing older. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "base/wear.h"

static struct wear w;

/* A minute at a time. */
static int64_t pass(int64_t from_min, int64_t to_min, int64_t bytes, int64_t per_min)
{
    for (int64_t m = from_min; m < to_min; m++) {
        wear_note(&w, bytes, (mono_t){ m * MS_PER_MIN });
        bytes += per_min;
    }
    return bytes;
}

static void no_day_is_told_of_the_first_minutes(void **state)
{
    (void)state;
    wear_init(&w);
    assert_int_equal(wear_per_day(&w), -1);
    int64_t bytes = pass(0, 10, 5000, 100);
    assert_int_equal(wear_per_day(&w), -1);
    pass(10, 11, bytes, 100);
    assert_int_equal(wear_per_day(&w), 144000);
}

static void the_start_is_forgotten_after_a_day(void **state)
{
    (void)state;
    wear_init(&w);
    int64_t bytes = pass(0, 60, 0, 1000000); /* a copy of the store was made */
    bytes = pass(60, 1560, bytes, 100);
    assert_true(wear_per_day(&w) >= 144000 && wear_per_day(&w) < 150000);
    pass(1560, 1560 + 3 * 1440, bytes, 100);
    assert_int_equal(wear_per_day(&w), 144000);
}

static void an_unknown_count_is_no_figure(void **state)
{
    (void)state;
    wear_init(&w);
    pass(0, 100, 0, 100);
    wear_note(&w, -1, (mono_t){ 100 * MS_PER_MIN });
    assert_int_equal(wear_per_day(&w), -1);
    wear_note(&w, 10000, (mono_t){ 101 * MS_PER_MIN });
    assert_true(wear_per_day(&w) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_day_is_told_of_the_first_minutes),
        cmocka_unit_test(the_start_is_forgotten_after_a_day),
        cmocka_unit_test(an_unknown_count_is_no_figure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
