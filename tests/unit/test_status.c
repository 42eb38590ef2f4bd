#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "base/status.h"

static void says_and_returns(void **state)
{
    (void)state;
    struct why why;
    assert_int_equal(why_say(&why, STATUS_REFUSED, "%d L is more than %s", 12, "the tank"), STATUS_REFUSED);
    assert_string_equal(why.text, "12 L is more than the tank");
    assert_int_equal(why_say(NULL, STATUS_NONE, "unheard"), STATUS_NONE);
}

static void long_sentence_is_cut(void **state)
{
    (void)state;
    struct why why;
    char fits[sizeof why.text];
    memset(fits, 'a', sizeof fits - 1);
    fits[sizeof fits - 1] = '\0';
    why_say(&why, STATUS_OK, "%s", fits);
    assert_string_equal(why.text, fits);
    why_say(&why, STATUS_OK, "%s%s", fits, "b");
    assert_int_equal(strlen(why.text), sizeof why.text - 1);
    assert_string_equal(why.text + sizeof why.text - 5, "a...");
}

static void cut_keeps_characters_whole(void **state)
{
    (void)state;
    struct why why;
    char degrees[800];
    for (size_t lead = 0; lead < 2; lead++) {
        memset(degrees, 'a', lead);
        for (size_t i = lead; i + 2 < sizeof degrees; i += 2)
            memcpy(degrees + i, "°", 3);
        why_say(&why, STATUS_OK, "%s", degrees);
        size_t n = strlen(why.text);
        assert_true(n >= sizeof why.text - 2);
        assert_string_equal(why.text + n - 5, "°...");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_and_returns),
        cmocka_unit_test(long_sentence_is_cut),
        cmocka_unit_test(cut_keeps_characters_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
