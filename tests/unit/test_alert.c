/* The table of kinds is whole: each says what it means and what to do, and none that has a limit flaps. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "model/alert.h"

static bool is_sentence(const char *s)
{
    size_t n = s == NULL ? 0 : strlen(s);
    return n > 4 && s[n - 1] == '.';
}

static void every_kind_says_everything(void **state)
{
    (void)state;
    for (int k = 0; k < KIND_COUNT; k++) {
        const struct kind_info *info = kind_info((enum alert_kind)k);
        if (info->name == NULL || info->name[0] == '\0' || info->title == NULL || info->title[0] == '\0')
            fail_msg("kind %d has no name or no title", k);
        if (!is_sentence(info->meaning) || !is_sentence(info->consequence) || !is_sentence(info->action) ||
            !is_sentence(info->time))
            fail_msg("%s does not say what it means, what follows, what to do, or how long there is",
                     info->name);
        for (int other = 0; other < k; other++)
            assert_string_not_equal(info->name, kind_info((enum alert_kind)other)->name);
    }
}

/* A deadband and both delays, without a word in the configuration. */
static void what_has_a_limit_does_not_flap(void **state)
{
    (void)state;
    int limits = 0;
    for (int k = 0; k < KIND_COUNT; k++) {
        const struct kind_info *info = kind_info((enum alert_kind)k);
        if (info->scope != SCOPE_TANK_LIMIT)
            continue;
        limits++;
        if (!(info->on_delay_s > 0) || !(info->off_delay_s > 0))
            fail_msg("%s: raised after %g s, cleared after %g s", info->name, info->on_delay_s,
                     info->off_delay_s);
        if (info->deadband <= 0)
            fail_msg("%s: a deadband of %g", info->name, info->deadband);
    }
    assert_true(limits >= 4);
    for (int q = 0; q < Q_COUNT; q++)
        if (!(quantity_info((enum quantity)q)->deadband > 0) && q != Q_LEAK)
            fail_msg("%s has no deadband of its own", quantity_info((enum quantity)q)->name);
}

static void marks_hide_the_state_below_them(void **state)
{
    (void)state;
    assert_string_equal(alert_state_name(ALERT_UNACK, 0), "UNACK");
    assert_string_equal(alert_state_name(ALERT_UNACK, ALERT_SHELVED), "SHLVD");
    assert_string_equal(alert_state_name(ALERT_UNACK, ALERT_SHELVED | ALERT_BY_DESIGN), "DSUPR");
    assert_string_equal(alert_state_name(ALERT_UNACK, ALERT_SHELVED | ALERT_OUT_OF_SERVICE), "OOSRV");
    assert_string_equal(alert_state_words(ALERT_ACKED, 0), "active, acknowledged");
    assert_string_equal(alert_state_words(ALERT_ACKED, ALERT_SHELVED), "put aside");
}

static void a_limits_family_is_that_of_its_quantity(void **state)
{
    (void)state;
    char text[KIND_TEXT_MAX];
    assert_int_equal(kind_family(KIND_LOW, Q_TEMP), FAMILY_HEAT);
    assert_int_equal(kind_family(KIND_LOW, Q_EC), FAMILY_SOLIDS);
    assert_int_equal(kind_family(KIND_LOW, Q_PH), FAMILY_OTHER);
    assert_int_equal(kind_family(KIND_HEATER_DEAD, Q_COUNT), FAMILY_HEAT);
    assert_string_equal(kind_format(KIND_LOW, Q_TEMP, text, sizeof text), "temp-low");
    assert_string_equal(kind_format(KIND_HEATER_DEAD, Q_COUNT, text, sizeof text), "heater-dead");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_says_everything),
        cmocka_unit_test(what_has_a_limit_does_not_flap),
        cmocka_unit_test(marks_hide_the_state_below_them),
        cmocka_unit_test(a_limits_family_is_that_of_its_quantity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
