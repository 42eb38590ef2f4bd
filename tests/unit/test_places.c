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

static void sources_say_what_they_are(void **state)
{
    (void)state;
    expect_sound(
        SITE "sources = ( { id = \"ro\"; makes_l_day = 60; feed = \"tap\"; exhausted_ec = 20; },\n"
             "{ id = \"tap\"; kind = \"tap\"; disinfectant = \"chloramine\"; } );\n"
             "waters = ( { id = \"w\"; source = \"ro\"; blend = { source = \"tap\"; share = 0.25; }; } );\n"
             "stores = ( { id = \"drum\"; water = \"w\"; holds_l = 60; l_per_mm = 0.12; } );\n" TANK);
    const struct source *ro = &site->sources[0], *tap = &site->sources[1];
    assert_int_equal(ro->kind, SOURCE_PURIFIED);
    assert_int_equal(ro->feed, tap->place);
    assert_true(ro->exhausted_ec == 20 && isnan(ro->store_l));
    assert_int_equal(tap->kind, SOURCE_TAP);
    assert_int_equal(tap->disinfectant, DISINFECTANT_CHLORAMINE);
    assert_int_equal(tap->feed, -1);
    assert_int_equal(site->waters[0].blend, tap->place);
    assert_true(site->waters[0].blend_share == 0.25);
    assert_int_equal(site->stores[0].water, 0);
    assert_true(site->stores[0].holds_l == 60 && site->stores[0].l_per_mm == 0.12);
    assert_int_equal(site_source_find(site, "tap", 3), 1);
    assert_int_equal(site_store_at(site, site->stores[0].place), 0);
    assert_false(site_water_is_pure(site, 0));
}

static void faults_of_places_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "sources = ( { id = \"x\"; }, { id = \"x\"; } );\n", 3, "stands twice in sources" },
        { SITE TANK "stores = ( { name = \"x\"; } );\n", 3, "id is missing in stores" },
        { SITE TANK "sources = ( { id = \"x\"; feed = \"tpa\"; }, { id = \"tap\"; } );\n", 3,
          "unknown source \"tpa\"; did you mean \"tap\"" },
        { SITE TANK "sources = ( { id = \"x\"; feed = \"x\"; } );\n", 3, "cannot feed itself" },
        { SITE TANK "sources = ( { id = \"x\"; kind = \"tapp\"; } );\n", 3, "did you mean \"tap\"" },
        { SITE TANK "sources = ( { id = \"x\"; kind = \"tap\"; exhausted_ec = 20; } );\n", 3,
          "belong to a source of kind" },
        { SITE TANK "stores = ( { id = \"x\"; water = \"w\"; } );\n", 3, "unknown water \"w\"" },
        { SITE TANK "stores = ( { id = \"x\"; holds_l = 0; } );\n", 3, "holds_l must be above 0" },
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
        cmocka_unit_test(sources_say_what_they_are),
        cmocka_unit_test(faults_of_places_are_told),
    };
    RUN(tests);
}
