#include "config_text.h"

#include "config/overrides.h"

#define ROOM                                                                                                 \
    SITE "stocks = ( { id = \"k\"; temp = [20, 24]; } );\ntanks = ( { id = \"a1\"; volume_l = 3; stock = "   \
         "\"k\"; }, { id = "                                                                                 \
         "\"a2\"; volume_l = 3; stock = \"k\"; } );\nprobes = ( { topic = \"t/{tank}\"; measures = "         \
         "\"temp\"; } );\n"

static const struct alert_settings *settings_of(const char *ref)
{
    int i = site_alert_find(site, ref, strlen(ref));
    assert_true(i >= 0);
    return &site->alerts[i].settings;
}

static void settings_are_laid_over_where_they_are_meant(void **state)
{
    (void)state;
    expect_sound(ROOM "alerts = ( { kind = \"temp-low\"; tank = \"a1\"; deadband = 0.5; on_delay_s = 7; "
                      "off_delay_s = 8.5; priority = "
                      "\"low\"; latching = true; },\n"
                      "{ kind = \"silent\"; enabled = false; renotify_s = 60; realarm_s = 0; },\n"
                      "{ kind = \"temp-silent\"; place = \"tank/a2\"; enabled = true; } );\n");
    const struct alert_settings *low = settings_of("tank/a1/temp-low");
    assert_true(low->deadband == 0.5 && low->latching && low->enabled);
    assert_int_equal(low->on_delay_ms, 7000);
    assert_int_equal(low->off_delay_ms, 8500);
    assert_int_equal(low->priority, PRIORITY_LOW);
    assert_int_equal(settings_of("tank/a2/temp-low")->priority, PRIORITY_HIGH);
    assert_false(settings_of("tank/a1/temp-silent")->enabled);
    assert_true(settings_of("tank/a2/temp-silent")->enabled);
    assert_int_equal(settings_of("tank/a2/temp-silent")->renotify_ms, 60000);
    assert_int_equal(settings_of("tank/a2/temp-silent")->realarm_ms, 0);
}

static void faults_of_overrides_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { ROOM "alerts = ( { kind = \"temp-lo\"; } );\n", 5, "did you mean \"temp-low\"" },
        { ROOM "alerts = ( { kind = \"temp-low\"; tank = \"a9\"; } );\n", 5, "unknown tank \"a9\"" },
        { ROOM "alerts = ( { kind = \"temp-low\"; tank = \"a1\"; place = \"room\"; } );\n", 5,
          "two words for one thing" },
        { ROOM "alerts = ( { kind = \"ec-low\"; tank = \"a1\"; } );\n", 5,
          "there is no alert \"ec-low\" at tank/a1" },
        { ROOM "alerts = ( { enabled = true; } );\n", 5, "kind is missing" },
        { ROOM "alerts = ( { kind = \"temp-low\"; deadband = 0; } );\n", 5, "deadband must be above 0" },
        { ROOM "alerts = ( { kind = \"temp-low\"; on_delay_s = -1; } );\n", 5, "on_delay_s must be 0 to" },
        { ROOM "alerts = ( { kind = \"temp-low\"; enabled = 1; } );\n", 5, "enabled must be true or false" },
        { ROOM "alerts = ( { kind = \"temp-low\"; priority = \"urgent\"; } );\n", 5,
          "known are low medium high" },
        { ROOM "alerts = ( \"temp-low\" );\n", 5, "must be a group" },
    };
    EXPECT_FAULTS(cases);
}

static void one_that_meets_nothing_anywhere_is_a_warning(void **state)
{
    (void)state;
    expect_warning(ROOM "alerts = ( { kind = \"ec-low\"; enabled = false; } );\n", 5,
                   "no place in this file has an alert \"ec-low\"");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(settings_are_laid_over_where_they_are_meant),
        cmocka_unit_test(faults_of_overrides_are_told),
        cmocka_unit_test(one_that_meets_nothing_anywhere_is_a_warning),
    };
    RUN(tests);
}
