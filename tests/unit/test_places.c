#include "config_text.h"

#include "config/places.h"

static void every_thing_that_is_named_is_a_place(void **state)
{
    (void)state;
    expect_sound(SITE "sources = ( { id = \"ro\"; name = \"unit\"; } );\nstores = ( { id = \"drum\"; } );\n"
                      "waters = ( { id = \"w\"; } );\n"
                      "tanks = ( { id = \"a1\"; volume_l = 3; rack = \"a\"; circuit = \"l\"; } );\n");
    static const char *const all[] = { "room",    "lentic",  "source/ro", "store/drum",
                                       "water/w", "tank/a1", "rack/a",    "circuit/l" };
    assert_int_equal(site->place_count, 8);
    for (size_t i = 0; i < 8; i++)
        assert_true(site_place_find(site, all[i], strlen(all[i])) >= 0);
    assert_string_equal(site->places[site->room_place].text, "room");
    assert_string_equal(site->places[site->service_place].text, "lentic");
    int ro = places_find(site, PLACE_SOURCE, "ro");
    assert_string_equal(site->places[ro].name, "unit");
    assert_int_equal(site->places[ro].tank, -1);
    assert_int_equal(places_find(site, PLACE_STORE, "ro"), -1);
}

static void one_id_may_name_places_of_several_kinds(void **state)
{
    (void)state;
    expect_sound(SITE "tanks = ( { id = \"a\"; volume_l = 3; rack = \"a\"; circuit = \"a\"; } );\n");
    assert_int_equal(site->place_count, 5);
}

static void faults_of_places_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "sources = ( { id = \"x\"; }, { id = \"x\"; } );\n", 3, "stands twice in sources" },
        { SITE TANK "stores = ( { name = \"x\"; } );\n", 3, "id is missing in stores" },
        { SITE TANK "sources = [\"x\"];\n", 3, "sources must be a list" },
        { SITE TANK "alerts = ( { kind = \"cold\"; place = \"rom\"; } );\n", 3,
          "unknown place \"rom\"; did you mean \"room\"" },
    };
    EXPECT_FAULTS(cases);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_thing_that_is_named_is_a_place),
        cmocka_unit_test(one_id_may_name_places_of_several_kinds),
        cmocka_unit_test(faults_of_places_are_told),
    };
    RUN(tests);
}
