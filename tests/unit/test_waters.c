/* Hardness of 1 g/L by formula: CaCl2.2H2O 38.14 dH, NaHCO3 33.38 dH (DIN 38409-6 factors, molar masses). */
#include "config_text.h"

#include <math.h>

#include "config/waters.h"

static void a_salt_is_its_composition_or_its_figures(void **state)
{
    (void)state;
    expect_sound(SITE TANK "salts = ( { id = \"c\"; composition = \"CaCl2.2H2O\"; },\n"
                           "{ id = \"s\"; composition = \"sodium bicarbonate\"; kh = 33.0; stock_g = 10; },\n"
                           "{ id = \"m\"; name = \"mix\"; gh = 40; } );\n");
    assert_int_equal(site->salt_count, 3);
    assert_true(fabs(site->salts[0].gh - 38.14) < 0.05);
    assert_true(site->salts[0].kh == 0.0);
    assert_true(site->salts[0].ec > 1000 && site->salts[0].ec < 2500);
    assert_true(site->salts[1].kh == 33.0);
    assert_true(site->salts[1].gh == 0.0);
    assert_true(site->salts[2].gh == 40.0 && isnan(site->salts[2].kh) && isnan(site->salts[2].stock_g));
    assert_string_equal(site->salts[0].name, "c");
}

static void a_water_has_targets_drift_and_recipe(void **state)
{
    (void)state;
    expect_sound(SITE TANK "waters = ( { id = \"w\"; ec = 380; gh = 6; source = \"ro\"; drift = { ec = 40; "
                           "}; tds_per_ec = 0.6;\n"
                           " recipe = ( { salt = \"m\"; g_per_l = 0.2; } ); } );\n"
                           "salts = ( { id = \"m\"; gh = 40; } );\n"
                           "sources = ( { id = \"ro\"; name = \"unit\"; } );\n");
    const struct water *water = &site->waters[0];
    assert_true(water->target[Q_EC] == 380.0 && isnan(water->target[Q_PH]));
    assert_true(water->drift[Q_EC] == 40.0 && isnan(water->drift[Q_GH]));
    assert_int_equal(water->recipe_count, 1);
    assert_int_equal(water->recipe[0].salt, 0);
    assert_string_equal(site->places[water->source].text, "source/ro");
    assert_true(site_place_find(site, "water/w", 7) >= 0);
}

static void a_kit_says_how_far_it_may_be_off(void **state)
{
    (void)state;
    expect_sound(SITE TANK "kits = ( { id = \"drops\"; gh = 0.3; no3 = 5.0; } );\n");
    assert_int_equal(site->kit_count, 1);
    assert_string_equal(site->kits[0].name, "drops");
    assert_true(site->kits[0].sd[Q_GH] == 0.3 && isnan(site->kits[0].sd[Q_KH]));
    expect_fault(SITE TANK "kits = ( { id = \"drops\"; gh = 0.0; } );\n", 3, "gh");
}

static void a_kind_of_animals_has_bands_and_limits_of_change(void **state)
{
    (void)state;
    expect_sound(
        SITE TANK
        "stocks = ( { id = \"k\"; name = \"K\"; temp = [20, 24]; day_range = { temp = 2; }; per_hour = { "
        "temp = 1; }; step = { ec = 30; }; source = \"us\"; } );\n");
    const struct stock *stock = &site->stocks[0];
    assert_true(stock->day_range[Q_TEMP] == 2.0 && stock->per_hour[Q_TEMP] == 1.0 &&
                stock->step[Q_EC] == 30.0);
    assert_true(isnan(stock->step[Q_TEMP]));
    assert_string_equal(stock->source, "us");
}

static void faults_of_waters_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "salts = ( { id = \"c\"; composition = \"CaCl3\"; } );\n", 3, "CaCl2" },
        { SITE TANK "salts = ( { id = \"c\"; } );\n", 3, "needs a composition" },
        { SITE TANK "salts = ( { id = \"c\"; gh = 1; }, { id = \"c\"; gh = 1; } );\n", 3,
          "stands twice in salts" },
        { SITE TANK "waters = ( { id = \"w\"; ec = 30000; } );\n", 3, "ec must be 0 to 20000 µS/cm" },
        { SITE TANK "waters = ( { id = \"w\"; ec = [1, 2]; } );\n", 3, "ec must be a number" },
        { SITE TANK "waters = ( { id = \"w\"; drift = { ec = 3; }; } );\n", 3, "no target" },
        { SITE TANK "waters = ( { id = \"w\"; ec = 3; drift = { ec = 0; }; } );\n", 3, "ec must be above 0" },
        { SITE TANK "waters = ( { id = \"w\"; recipe = ( { salt = \"x\"; g_per_l = 1; } ); } );\n", 3,
          "unknown salt \"x\"; there are none" },
        { SITE TANK "waters = ( { id = \"w\"; recipe = { }; } );\n", 3, "recipe must be a list" },
        { SITE TANK "waters = ( { id = \"w\"; source = \"x\"; } );\n", 3, "unknown source \"x\"" },
        { SITE TANK "sources = ( { id = \"t\"; } );\nwaters = ( { id = \"w\"; blend = { source = \"t\"; "
                    "share = 0.2; }; } );\n",
          4, "name the other water it is made from too" },
        { SITE TANK "sources = ( { id = \"t\"; } );\nwaters = ( { id = \"w\"; source = \"t\"; blend = { "
                    "source = \"t\"; share = 1.2; }; } );\n",
          4, "share must be above 0 to 1" },
        { SITE TANK "waters = ( { id = \"w\"; }, { id = \"w\"; } );\n", 3, "stands twice in waters" },
        { SITE TANK "stocks = ( { id = \"k\"; step = { tmp = 1; }; } );\n", 3, "did you mean \"temp\"" },
        { SITE TANK "stocks = ( { id = \"k\"; step = { temp = -1; }; } );\n", 3, "temp must be above 0" },
        { SITE TANK "stocks = ( { id = \"k\"; }, { id = \"k\"; } );\n", 3, "stands twice in stocks" },
    };
    EXPECT_FAULTS(cases);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_salt_is_its_composition_or_its_figures),
        cmocka_unit_test(a_water_has_targets_drift_and_recipe),
        cmocka_unit_test(a_kit_says_how_far_it_may_be_off),
        cmocka_unit_test(a_kind_of_animals_has_bands_and_limits_of_change),
        cmocka_unit_test(faults_of_waters_are_told),
    };
    RUN(tests);
}
