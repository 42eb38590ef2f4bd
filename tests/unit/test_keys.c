/* The types of keys, seen through the file. */
#include "config_text.h"

#include <math.h>

#include "config/keys.h"

static void forms_are_told_plainly(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "broker = ( );\n", 3, "broker must be a group { }, not a list ( )" },
        { SITE TANK "broker = [ ];\n", 3, "broker must be a group { }, not an array [ ]" },
        { SITE "tanks = { id = \"a1\"; volume_l = 3.0; };\n", 2,
          "tanks must be a list ( ), not a group { }" },
        { SITE "tanks = ( 5 );\n", 2, "element 1 of tanks must be a group { }, not a number" },
        { SITE TANK "broker = { host = 5; };\n", 3, "host must be text in quotes, not a number" },
        { SITE TANK "broker = { port = \"1883\"; };\n", 3, "port must be a number, not text in quotes" },
        { SITE TANK "broker = { port = 1883.0; };\n", 3, "port must be a whole number" },
        { SITE TANK "broker = { tls = 1; };\n", 3, "tls must be true or false" },
        { SITE TANK "store = { commit_s = true; };\n", 3, "commit_s must be a number, not true or false" },
        { SITE TANK "store = { commit_s = 1e999; };\n", 3, "commit_s is too large a number" },
        { SITE TANK "broker = { host = \"\"; };\n", 3, "host is empty" },
        { SITE TANK "broker = { host = \"a\\tb\"; };\n", 3, "control character" },
        { SITE TANK "store = { sync = \"evry\"; };\n", 3, "did you mean \"every\"" },
        { SITE "tanks = ( { volume_l = 3.0; } );\n", 2, "id is missing in tanks" },
        { SITE "tanks = ( { id = \"a1\"; } );\n", 2, "volume_l is missing in tanks" },
        { SITE "tanks = ( { id = \"a-\"; volume_l = 3.0; } );\n", 2, "end with one" },
        { SITE "tanks = ( { id = \"a\"; name = \"M\xFChle\"; volume_l = 3.0; } );\n", 2,
          "no UTF-8: save the file in that encoding" },
        { SITE "tanks = ( { id = \"-a\"; volume_l = 3.0; } );\n", 2, "begin with a letter or digit" },
        { SITE "tanks = ( { id = \"abcdefghijabcdefghijabcdefghijabc\"; volume_l = 3.0; } );\n", 2,
          "at most 32" },
    };
    EXPECT_FAULTS(cases);
}

static void a_whole_number_is_a_number(void **state)
{
    (void)state;
    expect_sound(SITE "tanks = ( { id = \"a1\"; volume_l = 30; heater_w = 25L; } );\n");
    assert_true(site->tanks[0].volume_l == 30.0);
    assert_true(site->tanks[0].heater_w == 25.0);
    expect_sound(SITE TANK "broker = { port = 0x75C; };\n");
    assert_int_equal(site->broker.port, 1884);
}

static void limits_are_inside(void **state)
{
    (void)state;
    expect_sound(SITE TANK "broker = { port = 65535; keepalive_s = 5; };\n");
    expect_fault(SITE TANK "broker = { port = 65536; };\n", 3, "port must be 1 to 65535, not 65536");
}

static void retired_keys_are_taken_with_a_warning(void **state)
{
    (void)state;
    static const char probe[] =
        "probes = ( { topic = \"t/{tank}\"; measures = \"temp\"; stale_after_s = 99; } );\n";
    char text[400];
    (void)snprintf(text, sizeof text, "%s%s%s", SITE, TANK, probe);
    expect_warning(text, 3, "stale_after_s is now called stale_s");
    assert_true(site->entries[0].values[0].stale_s == 99.0);
    expect_sound(SITE TANK "store = { commit_every_s = 7; commit_s = 5; };\n");
    assert_true(told(3, "this one is not used"));
    assert_true(site->store.commit_s == 5.0);
}

static void bands_have_two_sides_or_one(void **state)
{
    (void)state;
    expect_sound(SITE TANK
                 "stocks = ( { id = \"k\"; temp = [20, 24]; ec = (100, 200.5); kh = { hi = 2.0; }; } );\n");
    const struct stock *stock = &site->stocks[0];
    assert_true(stock->band[Q_TEMP].lo == 20.0 && stock->band[Q_TEMP].hi == 24.0);
    assert_true(stock->band[Q_EC].lo == 100.0 && stock->band[Q_EC].hi == 200.5);
    assert_true(isnan(stock->band[Q_KH].lo) && stock->band[Q_KH].hi == 2.0);
    assert_true(isnan(stock->band[Q_PH].lo) && isnan(stock->band[Q_PH].hi));
    static const struct fault_case cases[] = {
        { SITE TANK "stocks = ( { id = \"k\"; temp = [24, 20]; } );\n", 3, "24 is not below 20" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = [20, 20]; } );\n", 3, "upside down" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = [20, 99]; } );\n", 3, "within -30 to 60 °C" },
        { SITE TANK "stocks = ( { id = \"k\"; ph = { lo = 15.0; }; } );\n", 3, "within 0 to 14" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = [20]; } );\n", 3, "two numbers" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = [\"a\", \"b\"]; } );\n", 3, "must be a number" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = 20; } );\n", 3, "must be a band such as" },
        { SITE TANK "stocks = ( { id = \"k\"; temp = { low = 3; }; } );\n", 3, "did you mean \"lo\"" },
    };
    EXPECT_FAULTS(cases);
}

static void hints_name_the_nearest_or_all(void **state)
{
    (void)state;
    static const char *const known[] = { "host", "port", "client_id" };
    char buf[KEYS_HINT_MAX];
    assert_string_equal(keys_hint("prot", known, 3, buf), "; did you mean \"port\"?");
    assert_string_equal(keys_hint("zzzzzzzz", known, 3, buf), "; known are host port client_id");
    assert_string_equal(keys_hint("x", known, 0, buf), "; there are none");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(forms_are_told_plainly),
        cmocka_unit_test(a_whole_number_is_a_number),
        cmocka_unit_test(limits_are_inside),
        cmocka_unit_test(retired_keys_are_taken_with_a_warning),
        cmocka_unit_test(bands_have_two_sides_or_one),
        cmocka_unit_test(hints_name_the_nearest_or_all),
    };
    RUN(tests);
}
