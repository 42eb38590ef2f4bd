#include "config_text.h"

#include <math.h>

#include "config/settings.h"

static void defaults_stand_where_nothing_is_said(void **state)
{
    (void)state;
    expect_sound(SITE TANK);
    assert_string_equal(site->broker.host, "localhost");
    assert_int_equal(site->broker.mqtt_version, 5);
    assert_int_equal(site->broker.keepalive_s, 30);
    assert_true(site->broker.tls_verify);
    assert_false(site->broker.tls);
    assert_string_equal(site->store.path, "/var/lib/lentic/lentic.db");
    assert_string_equal(site->store.runtime_dir, "/run/lentic");
    assert_true(site->store.commit_s == 60.0);
    assert_int_equal(site->store.commit_rows, 1000);
    assert_int_equal(site->store.sync, STORE_SYNC_WINDOW);
    assert_int_equal(site->store.keep_raw_days, 400);
    assert_int_equal(site->store.inbox_kib, 1536);
    assert_int_equal(site->store.log_most_mib, 64);
    assert_true(site->publish.tank_every_s == 60.0 && site->publish.tank_least_s == 5.0);
    assert_true(site->publish.heartbeat_s == 60.0);
    assert_null(site->notify.command);
    assert_int_equal(site->notify.quiet_from_min, -1);
    assert_true(isnan(site->meter_scale));
}

static void everything_can_be_said(void **state)
{
    (void)state;
    expect_sound("site = { id = \"m\"; name = \"Mill\"; timezone = \"UTC\"; altitude_m = 85; meter_scale = "
                 "0.64; };\n" TANK "broker = { host = \"h\"; client_id = \"c\"; user = \"u\"; password_file "
                 "= \"p\"; tls = true; ca_file = "
                 "\"ca\"; cert_file = \"ce\"; key_file = \"k\"; mqtt_version = 3; };\n"
                 "store = { path = \"x.db\"; sync = \"every\"; };\n"
                 "publish = { base = \"home/water\"; };\n"
                 "notify = { command = [\"/bin/send\", \"a b\"]; format = \"json\"; quiet_from = \"22:30\"; "
                 "quiet_to = "
                 "\"07:00\"; summary = "
                 "\"00:00\"; };\n");
    assert_int_equal(site->broker.port, 8883);
    assert_int_equal(site->broker.mqtt_version, 3);
    assert_string_equal(site->broker.client_id, "c");
    assert_int_equal(site->store.sync, STORE_SYNC_EVERY);
    assert_string_equal(site->publish.base, "home/water");
    assert_string_equal(site->notify.command[0], "/bin/send");
    assert_string_equal(site->notify.command[1], "a b");
    assert_null(site->notify.command[2]);
    assert_int_equal(site->notify.quiet_from_min, 22 * 60 + 30);
    assert_int_equal(site->notify.summary_min, 0);
    assert_int_equal(site->notify.format, NOTIFY_AS_JSON);
}

static void what_does_not_go_together_is_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "broker = { password = \"secret\"; };\n", 3, "a password does not belong in this file" },
        { SITE TANK "broker = { ca_file = \"x\"; };\n", 3, "without tls = true" },
        { SITE TANK "broker = { tls = true; cert_file = \"x\"; };\n", 3, "go together" },
        { SITE TANK "broker = { password_file = \"x\"; };\n", 3, "password_file without user" },
        { SITE TANK "broker = { mqtt_version = 4; };\n", 3, "mqtt_version is 3 (3.1.1) or 5, not 4" },
        { SITE TANK "publish = { tank_every_s = 3; };\n", 3, "tank_least_s (5 s) is longer" },
        { SITE TANK "publish = { base = \"a/#\"; };\n", 3, "plain topic" },
        { SITE TANK "publish = { base = \"a/\"; };\n", 3, "plain topic" },
        { SITE TANK "publish = { base = \"a/{tank}\"; };\n", 3, "plain topic" },
        { SITE TANK "publish = { base = \"$SYS/a\"; };\n", 3, "plain topic" },
        { SITE TANK "notify = { command = []; };\n", 3, "1 to 32 in all" },
        { SITE TANK "notify = { command = \"/bin/x\"; };\n", 3, "must be an array [ ] or a list ( )" },
        { SITE TANK "notify = { command = [\"mail\"]; };\n", 3, "full path" },
        { SITE TANK "notify = { quiet_from = \"22:30\"; };\n", 3, "go together" },
        { SITE TANK "notify = { quiet_from = \"22:30\"; quiet_to = \"22:30\"; };\n", 3, "the same time" },
        { SITE TANK "notify = { summary = \"24:00\"; };\n", 3, "no time of day" },
        { SITE TANK "notify = { summary = \"7:30\"; };\n", 3, "no time of day" },
        { "site = { id = \"m\"; altitude_m = 9000; };\n" TANK, 1, "altitude_m must be -430 to 6000 m" },
    };
    EXPECT_FAULTS(cases);
    assert_int_equal(load_text(SITE TANK "broker = { password = \"secret\"; };\n"), STATUS_INVALID);
    for (int i = 0; i < faults.count; i++)
        assert_null(strstr(faults.items[i].text, "secret"));
}

static void unverified_encryption_is_a_warning(void **state)
{
    (void)state;
    expect_sound(SITE TANK "broker = { tls = true; tls_verify = false; };\n");
    assert_true(told(3, "read and forge"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(defaults_stand_where_nothing_is_said),
        cmocka_unit_test(everything_can_be_said),
        cmocka_unit_test(what_does_not_go_together_is_told),
        cmocka_unit_test(unverified_encryption_is_a_warning),
    };
    RUN(tests);
}
