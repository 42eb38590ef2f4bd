#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/table.h"

static void columns_are_as_wide_as_needed(void **state)
{
    (void)state;
    char buf[256];
    struct text out = text_over(buf, sizeof buf);
    const char *const titles[] = { "tank", "temp", "note" };
    const bool right[] = { false, true, false };
    const char *const cells[] = { "a1", "24.3 °C", NULL, "nursery", "7 °C", "cold" };
    table_put(&out, &(struct table){ 3, titles, right, cells, 2 });
    assert_string_equal(buf, "tank        temp  note\n"
                             "a1       24.3 °C\n"
                             "nursery     7 °C  cold\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(columns_are_as_wide_as_needed) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
