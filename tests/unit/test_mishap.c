#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"
#include "small_room.h"

#include "rehearse/mishap.h"

static struct small_room room;

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    return 0;
}

static struct mishap parsed(const char *text)
{
    struct mishap f;
    struct why why = { "" };
    if (mishap_parse(&room.site, text, &f, &why) != STATUS_OK)
        fail_msg("%s: %s", text, why.text);
    return f;
}

static void refused(const char *text, const char *sentence)
{
    struct mishap f = { .target = -7 };
    struct why why = { "" };
    assert_int_equal(mishap_parse(&room.site, text, &f, &why), STATUS_INVALID);
    assert_int_equal(f.target, -7);
    if (strstr(why.text, sentence) == NULL)
        fail_msg("%s: \"%s\" does not say \"%s\"", text, why.text, sentence);
}

static void all_settings_are_read(void **state)
{
    (void)state;
    struct mishap f = parsed("leak@tank=b1,at=6h,for=30m,size=4.5");
    assert_int_equal(f.kind, MISHAP_LEAK);
    assert_int_equal(f.target, 1);
    assert_near(f.at_s, 6 * 3600, 0);
    assert_near(f.for_s, 1800, 0);
    assert_near(f.size, 4.5, 0);
    assert_false(mishap_active(&f, f.at_s - 1));
    assert_true(mishap_active(&f, f.at_s));
    assert_true(mishap_active(&f, f.at_s + 1799));
    assert_false(mishap_active(&f, f.at_s + 1800));
}

static void defaults_come_from_the_table(void **state)
{
    (void)state;
    struct mishap f = parsed("waste@tank=a1,at=2d");
    assert_near(f.size, mishap_info(MISHAP_WASTE)->size, 0);
    assert_true(mishap_active(&f, 1e9));
    assert_int_equal(parsed("probe-stuck@tank=a1,at=0").of, Q_TEMP);
    assert_int_equal(parsed("probe-stuck@tank=a1,at=0,of=ec").of, Q_EC);
    assert_int_equal(parsed("probe-silent@tank=a1,at=0").of, Q_COUNT);
}

static void every_fault_can_be_asked_by_tank(void **state)
{
    (void)state;
    for (int k = 0; k < MISHAP_COUNT; k++) {
        char text[80];
        (void)snprintf(text, sizeof text, "%s@tank=a1,at=1h", mishap_info((enum mishap_kind)k)->name);
        struct mishap f = parsed(text);
        assert_int_equal(f.kind, k);
        assert_true(mishap_touches(&room.site, &f, 0));
        bool alone = mishap_info(f.kind)->scope == MISHAP_OF_TANK;
        assert_int_equal(mishap_touches(&room.site, &f, 1), !alone);
    }
}

static void wider_places_are_named(void **state)
{
    (void)state;
    assert_int_equal(parsed("circuit-lost@circuit=c1,at=1h").target, 4);
    assert_int_equal(parsed("rack-lost@rack=r1,at=1h").target, 3);
    assert_int_equal(parsed("room-cold@room,at=1h").target, 0);
    assert_int_equal(parsed("source-worn@source=ro,at=1h").target, 5);
    assert_int_equal(parsed("bad-batch@water=soft,at=1h").target, 0);
    struct mishap f = parsed("circuit-lost@tank=b1,at=1h");
    assert_string_equal(mishap_place(&room.site, &f), "circuit/c1");
    f = parsed("leak@tank=b1,at=1h");
    assert_string_equal(mishap_place(&room.site, &f), "tank/b1");
    f = parsed("bad-batch@tank=b1,at=1h");
    assert_string_equal(mishap_place(&room.site, &f), "soft");
}

static void slips_are_named(void **state)
{
    (void)state;
    refused("heater-ded@tank=a1,at=1h", "did you mean \"heater-dead\"?");
    refused("zzzzzzzzzz@tank=a1,at=1h", "there is no fault");
    refused("leak@tank=a2,at=1h", "did you mean \"a1\"?");
    refused("leak@circuit=c1,at=1h", "leak happens to a tank");
    refused("leak@tank", "leak@tank=ID");
    refused("leak", "leak@tank=ID");
    refused("circuit-lost@circuit=c2,at=1h", "did you mean \"c1\"?");
    refused("leak@tank=a1", "say when it begins");
    refused("leak@tank=a1,at=soon", "at takes a time");
    refused("leak@tank=a1,at=-1h", "at takes a time");
    refused("leak@tank=a1,at=1h,sice=3", "did you mean \"size\"?");
    refused("leak@tank=a1,at=1h,size=1e9", "from 0.01 to 100");
    refused("heater-dead@tank=a1,at=1h,size=1", "has no size");
    refused("probe-stuck@tank=a1,at=1h,of=wetness", "no quantity");
}

static void a_tank_without_the_place(void **state)
{
    (void)state;
    room.tanks[0].circuit = -1;
    room.tanks[0].water = -1;
    refused("circuit-lost@tank=a1,at=1h", "has no circuit");
    refused("bad-batch@tank=a1,at=1h", "has no water");
    assert_int_equal(parsed("source-worn@tank=a1,at=1h").target, 5);
}

static void long_words_are_refused(void **state)
{
    (void)state;
    char text[300];
    memset(text, 'x', sizeof text);
    text[299] = '\0';
    refused(text, "too long");
    memcpy(text, "leak@tank=", 10);
    refused(text, "too long");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(all_settings_are_read, setup),
        cmocka_unit_test_setup(defaults_come_from_the_table, setup),
        cmocka_unit_test_setup(every_fault_can_be_asked_by_tank, setup),
        cmocka_unit_test_setup(wider_places_are_named, setup),
        cmocka_unit_test_setup(slips_are_named, setup),
        cmocka_unit_test_setup(a_tank_without_the_place, setup),
        cmocka_unit_test_setup(long_words_are_refused, setup),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
