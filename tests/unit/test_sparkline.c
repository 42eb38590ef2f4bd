/* A curve that can be read off. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/sparkline.h"

static const char *drawn(const double *values, int count, int rows)
{
    static char buf[1024];
    struct text out = text_over(buf, sizeof buf);
    struct sparkline s = { values, count, rows, 1, "°C" };
    sparkline_put(&out, &s);
    return buf;
}

static void one_line(void **state)
{
    (void)state;
    const double values[] = { 0, (double)NAN, 3.5, 7 };
    assert_string_equal(drawn(values, 4, 1), "▁ ▅█\n");
}

static void axis_names_the_ends(void **state)
{
    (void)state;
    const double values[] = { 20, 24.5 };
    assert_string_equal(drawn(values, 2, 3), "24.5 °C ┤ █\n        │ █\n20.0 °C ┤▁█\n");
}

static void a_level_line_and_nothing(void **state)
{
    (void)state;
    const double level[] = { 5, 5 }, nothing[] = { (double)NAN };
    assert_string_equal(drawn(level, 2, 1), "▄▄\n");
    assert_string_equal(drawn(nothing, 1, 3), "");
    assert_string_equal(drawn(nothing, 0, 1), "");
    const double nearly[] = { 5.01, 5.02 }; /* the axis has one decimal: it cannot tell them apart */
    assert_string_equal(drawn(nearly, 2, 2), "5.0 °C ┤  \n       │██\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(one_line), cmocka_unit_test(axis_names_the_ends),
                                        cmocka_unit_test(a_level_line_and_nothing) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
