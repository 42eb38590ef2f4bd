#include "config_text.h"

#include <math.h>

#include "config/tanks.h"

#define STOCK "stocks = ( { id = \"k\"; temp = [20, 24]; ec = [100, 200]; step = { ec = 30; }; } );\n"

static void a_tank_takes_over_from_its_animals_what_it_does_not_say(void **state)
{
    (void)state;
    expect_sound(
        SITE STOCK
        "tanks = ( { id = \"a1\"; volume_l = 30; stock = \"k\"; temp = { hi = 25.0; }; ph = [6, 7]; step = { "
        "temp = "
        "1; }; rack = \"a\"; circuit = \"left\"; heater_w = 25; setpoint = 22; lid = true; topoff = 0.3; "
        "change_l_week = 3; },\n { id = \"a2\"; volume_l = 20; rack = \"a\"; } );\n");
    const struct tank *tank = &site->tanks[0];
    assert_true(tank->band[Q_TEMP].lo == 20.0 && tank->band[Q_TEMP].hi == 25.0);
    assert_true(tank->band[Q_EC].hi == 200.0 && tank->band[Q_PH].lo == 6.0);
    assert_true(tank->step[Q_EC] == 30.0 && tank->step[Q_TEMP] == 1.0);
    assert_true(tank->lid && tank->topoff_l_day == 0.3 && tank->change_l_week == 3.0);
    assert_string_equal(site->places[tank->place].text, "tank/a1");
    assert_int_equal(site->places[tank->place].tank, 0);
    assert_string_equal(site->places[tank->rack].text, "rack/a");
    assert_string_equal(site->places[tank->circuit].text, "circuit/left");
    const struct tank *bare = &site->tanks[1];
    assert_int_equal(bare->rack, tank->rack);
    assert_int_equal(bare->circuit, -1);
    assert_int_equal(bare->stock, -1);
    assert_true(isnan(bare->heater_w) && isnan(bare->setpoint_c) && isnan(bare->band[Q_TEMP].lo));
    assert_string_equal(bare->name, "a2");
}

static void faults_of_tanks_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE STOCK "tanks = ( { id = \"a1\"; volume_l = 30; stock = \"j\"; } );\n", 3,
          "did you mean \"k\"" },
        { SITE "tanks = ( { id = \"a1\"; volume_l = 30; water = \"w\"; } );\n", 2, "unknown water \"w\"" },
        { SITE "tanks = ( { id = \"a1\"; volume_l = 30; }, { id = \"a1\"; volume_l = 3; } );\n", 2,
          "stands twice" },
        { SITE "tanks = ( { id = \"a1\"; volume_l = 30; heater_w = 0; } );\n", 2,
          "heater_w must be above 0" },
        { SITE "tanks = ( { id = \"a1\"; volume_l = 30; setpoint = 72; } );\n", 2,
          "setpoint must be 4 to 40 °C" },
        { SITE STOCK "tanks = ( { id = \"a1\"; volume_l = 30; stock = \"k\"; temp = { lo = 24.5; }; } );\n",
          3, "with what its stock brings" },
    };
    EXPECT_FAULTS(cases);
}

static void mix_ups_of_water_and_animals_are_warned_of(void **state)
{
    (void)state;
    expect_sound(SITE STOCK "waters = ( { id = \"hard\"; ec = 500; } );\ntanks = ( { id = \"a1\"; volume_l = "
                            "30; stock = \"k\"; water = "
                            "\"hard\"; setpoint = 26; } );\n");
    assert_true(told(4, "aims at ec 500 µS/cm, outside the band"));
    assert_true(told(4, "the setpoint 26 °C is outside"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_tank_takes_over_from_its_animals_what_it_does_not_say),
        cmocka_unit_test(faults_of_tanks_are_told),
        cmocka_unit_test(mix_ups_of_water_and_animals_are_warned_of),
    };
    RUN(tests);
}
