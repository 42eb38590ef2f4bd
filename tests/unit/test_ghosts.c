#include "app/ghosts.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
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

static void everything_is_emptied_on_two_connections(void **state)
{
    (void)state;
    char *ghosts = strdup("a\nb\na"), *withdrawn = NULL;
    ghosts_turn(&ghosts, &withdrawn);
    assert_string_equal(ghosts, "a\nb\n");
    assert_string_equal(withdrawn, "a\nb\n");
    free(ghosts); /* sent */
    ghosts = strdup("c\nb\n");
    ghosts_turn(&ghosts, &withdrawn);
    assert_string_equal(ghosts, "a\nb\nc\n");
    assert_string_equal(withdrawn, "c\nb\n");
    free(ghosts);
    ghosts = NULL;
    ghosts_turn(&ghosts, &withdrawn);
    assert_string_equal(ghosts, "c\nb\n");
    assert_null(withdrawn);
    free(ghosts);
    ghosts = NULL;
    ghosts_turn(&ghosts, &withdrawn);
    assert_null(ghosts);
    assert_null(ghosts_join("", NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_what_is_not_ours_goes),
        cmocka_unit_test(what_has_no_room_stays),
        cmocka_unit_test(everything_is_emptied_on_two_connections),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
