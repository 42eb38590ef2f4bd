/* Another device at a place: told or noticed; the history goes on, the calibration does not. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/exchange.h"
#include "engine/fitting.h"
#include "engine_tank.h"
#include "near.h"

static struct engine_tank w;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    w.entries[TANK_PH].battery_at = "/b";
    w.entries[TANK_PH].battery_low = 20;
    w.entries[TANK_PH].battery_unit = "%";
    engine_tank_start(&w);
    struct calib c = CALIB_IDENTITY;
    c.offset = 0.5;
    c.since = (utc_t){ w.now.utc.ms - MS_PER_DAY };
    engine_calibrate(w.engine, TANK_PH, &c);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static void send_of(const char *device, double v, double battery)
{
    struct sample s = engine_tank_sample(TANK_PH, v);
    strcpy(s.device, device);
    s.battery = battery;
    s.link = NAN;
    engine_tank_wait(&w, 60000);
    engine_ingest(w.engine, &s, false, w.now, &w.fx);
}

static const struct effect *effect_of(enum effect_kind kind)
{
    for (size_t i = 0; i < w.fx.count; i++)
        if (w.fx.items[i].kind == kind)
            return &w.fx.items[i];
    return NULL;
}

static struct probe_report report(void)
{
    struct probe_report r;
    engine_report_probe(w.engine, TANK_PH, w.now, &r);
    return r;
}

static enum status ask(const char *device, int64_t ago_ms)
{
    struct command c = engine_tank_command(COMMAND_EXCHANGE);
    c.quantity = Q_PH;
    strcpy(c.device, device);
    c.at = ago_ms == 0 ? UTC_NONE : (utc_t){ w.now.utc.ms - ago_ms };
    return engine_command(w.engine, &c, w.now, &w.fx, &why);
}

static void noticed_by_its_id(void **state)
{
    (void)state;
    send_of("one", 7, NAN);
    assert_non_null(effect_of(EFFECT_DEVICE));
    assert_null(effect_of(EFFECT_CALIB)); /* the first that is known is no exchange */
    assert_near(report().last_value, 7.5, 1e-9);
    utc_t first = { w.now.utc.ms + 60000 };
    for (int i = 0; i < FITTING_SURE; i++)
        send_of("two", 7, NAN);
    const struct effect *device = effect_of(EFFECT_DEVICE), *calib = effect_of(EFFECT_CALIB);
    assert_non_null(device);
    assert_string_equal(device->u.device.id, "two");
    assert_int_equal(device->u.device.since.ms, first.ms);
    assert_int_equal(calib->u.calib.back_to.ms, first.ms); /* what it sent before it was sure */
    assert_non_null(effect_of(EFFECT_EVENT));
    struct probe_report r = report();
    assert_near(r.last_value, 7, 1e-9);
    assert_true(r.fresh);
    assert_string_equal(r.device, "two");
    struct alert a = engine_tank_alert(&w, "tank/a1/ph-calibration-due");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "device two is new here"));
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_PH;
    c.offset = 0.1;
    engine_tank_wait(&w, 60000);
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_false(engine_tank_alert(&w, "tank/a1/ph-calibration-due").active);
    assert_false(report().fresh);
}

static void two_that_alternate_are_no_exchange(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++)
        send_of(i % 2 ? "one" : "two", 7, NAN);
    assert_string_equal(report().device, "two");
    assert_near(report().last_value, 7.5, 1e-9);
}

static void told_by_the_keeper(void **state)
{
    (void)state;
    send_of("", 7, NAN);
    engine_tank_wait(&w, MS_PER_HOUR);
    assert_int_equal(ask("probe 8", 30 * MS_PER_MIN), STATUS_OK);
    assert_non_null(strstr(why.text, "device probe 8 counts since"));
    assert_non_null(effect_of(EFFECT_JOURNAL));
    assert_int_equal(effect_of(EFFECT_CALIB)->u.calib.back_to.ms, w.now.utc.ms - 30 * MS_PER_MIN);
    send_of("", 7, NAN);
    assert_near(report().last_value, 7, 1e-9);
    assert_int_equal(ask("probe 8", 0), STATUS_REFUSED);
    assert_int_equal(ask("probe 9", 2 * MS_PER_HOUR), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "must come after it"));
    assert_int_equal(ask("probe 9", -MS_PER_HOUR), STATUS_REFUSED);
    assert_int_equal(ask("probe 9", 40 * MS_PER_DAY), STATUS_REFUSED);
}

static void restart(void)
{
    static uint8_t bytes[1 << 20];
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
}

static void a_restart_in_between_changes_nothing(void **state)
{
    (void)state;
    send_of("one", 7, 55);
    for (int i = 0; i < FITTING_SURE; i++) {
        restart();
        send_of("two", 7, NAN);
    }
    restart();
    struct probe_report r = report();
    assert_string_equal(r.device, "two");
    assert_true(r.fresh);
    assert_true(r.battery == 55);
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_PH;
    c.undo = true;
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_REFUSED);
}

static void a_low_battery_is_told_once(void **state)
{
    (void)state;
    int raised = 0;
    for (int i = 0; i < 400; i++) {
        send_of("one", 7, i < 50 ? 30 : 19 + i % 3);
        for (size_t k = 0; k < w.fx.count; k++)
            if (w.fx.items[k].kind == EFFECT_ALERT && w.fx.items[k].u.alert.announce)
                raised++;
        engine_tank_wait(&w, 600000);
    }
    struct alert a = engine_tank_alert(&w, "tank/a1/ph-battery");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "the battery of one is at 19 %, low below 20 %"));
    assert_int_equal(a.reminders, 0);
    assert_int_equal(raised, 1);
    send_of("one", 7, 100);
    assert_false(engine_tank_alert(&w, "tank/a1/ph-battery").active);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(noticed_by_its_id),          TEST(two_that_alternate_are_no_exchange),
        TEST(told_by_the_keeper),         TEST(a_restart_in_between_changes_nothing),
        TEST(a_low_battery_is_told_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
