#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "model/command.h"

static void every_name_finds_its_verb(void **state)
{
    (void)state;
    for (int v = 0; v < COMMAND_COUNT; v++) {
        const char *name = command_name((enum command_verb)v);
        assert_non_null(name);
        assert_int_equal(command_find(name, strlen(name)), v);
    }
}

static void others_find_none(void **state)
{
    (void)state;
    assert_int_equal(command_find("", 0), COMMAND_COUNT);
    assert_int_equal(command_find("ACK", 3), COMMAND_COUNT);
    assert_int_equal(command_find("acknowledge", 11), COMMAND_COUNT);
    assert_int_equal(command_find("ack/x", 5), COMMAND_COUNT);
    assert_int_equal(command_find("ack/x", 3), COMMAND_ACK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_name_finds_its_verb),
        cmocka_unit_test(others_find_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
