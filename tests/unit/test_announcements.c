#include "config/announcements.h"
#include "config_text.h"
#include "model/announcement.h"

static void lists_are_read(void **state)
{
    (void)state;
    expect_sound(SITE TANK "announcements = ( { topic = \"x/${tank.id}\"; payload = \"a\" \"b\"; },\n"
                           "{ for = \"quantity\"; quantity = \"ec\"; topic = \"q/${tank.id}\"; payload = "
                           "\"c\"; retain = false; } );\n");
    assert_int_equal(site->announcement_count, 2);
    assert_string_equal(site->announcements[0].payload, "ab");
    assert_int_equal(site->announcements[0].scope, ANNOUNCE_TANK);
    assert_true(site->announcements[0].retain);
    assert_int_equal(site->announcements[1].quantity, Q_EC);
    assert_false(site->announcements[1].retain);
}

static void what_is_at_fault(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "announcements = ( { topic = \"x\"; } );\n", 3, "payload" },
        { SITE TANK "announcements = ( { topic = \"x/${tank.di}\"; payload = \"y\"; } );\n", 3,
          "${tank.id}?" },
        { SITE TANK "announcements = ( { topic = \"x\"; payload = 5; } );\n", 3, "text in quotes" },
        { SITE TANK "announcements = ( { topic = \"x\"; payload = \"y\"; quantity = \"ec\"; } );\n", 3,
          "for = \"quantity\"" },
        { SITE TANK
          "announcements = ( { for = \"quantity\"; topic = \"x\"; payload = \"y\"; quantity = \"eg\"; } );\n",
          3, "there is no quantity" },
        { SITE TANK "announcements = ( { topic = \"x\"; payload = \"y\"; retained = true; } );\n", 3,
          "retain" },
    };
    EXPECT_FAULTS(cases);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(lists_are_read),
                                        cmocka_unit_test(what_is_at_fault) };
    RUN(tests);
}
