#include "app/ghosts.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <cmocka.h>

static char sent[512];
static int room;

static bool on_send(void *context, const char *topic, const char *payload, size_t n, bool retain,
                    uint32_t expiry_s)
{
    (void)context;
    (void)payload;
    assert_true(n == 0 && retain && expiry_s == 0);
    if (room-- <= 0)
        return false;
    size_t at = strlen(sent);
    snprintf(sent + at, sizeof sent - at, "%s ", topic);
    return true;
}

static bool withdraw(char *ghosts, const char *ours, int with_room)
{
    sent[0] = '\0';
    room = with_room;
    return ghosts_withdraw(ghosts, ours, on_send, NULL);
}

static void only_what_is_not_ours_goes(void **state)
{
    (void)state;
    char ghosts[] = "a/1\na/2\na/3\n";
    assert_true(withdraw(ghosts, "a/2\nb\n", 10));
    assert_string_equal(sent, "a/1 a/3 ");
    assert_string_equal(ghosts, "");
    assert_true(withdraw(ghosts, "a/2\n", 0));
}

static void what_has_no_room_stays(void **state)
{
    (void)state;
    char ghosts[] = "\na/1\na/2\n\na/3"; /* the last one without its end */
    assert_false(withdraw(ghosts, "", 1));
    assert_string_equal(sent, "a/1 ");
    assert_string_equal(ghosts, "a/2\na/3");
    assert_false(withdraw(ghosts, "", 1));
    assert_string_equal(ghosts, "a/3");
    assert_true(withdraw(ghosts, "", 1));
    char unsent[] = "a/1";
    assert_false(ghosts_withdraw(unsent, "", NULL, NULL));
    assert_string_equal(unsent, "a/1");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_what_is_not_ours_goes),
        cmocka_unit_test(what_has_no_room_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
