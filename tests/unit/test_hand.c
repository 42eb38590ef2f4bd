#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/hand.h"
#include "engine_tank.h"
#include "near.h"

static struct engine_tank w;

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    w.tank.band[Q_GH] = (struct span){ 4, 8 };
    w.tank.band[Q_TEMP] = (struct span){ 20, 26 };
    engine_tank_start(&w);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static struct value_report value(enum quantity q)
{
    struct tank_report r;
    engine_report_tank(w.engine, 0, w.now, &r);
    return r.values[q];
}

static void a_test_is_a_value_and_is_judged(void **state)
{
    (void)state;
    assert_int_equal(engine_tank_test(&w, Q_GH, 10, UTC_NONE), STATUS_OK);
    assert_int_equal(w.fx.items[w.fx.count - 1].kind, EFFECT_JOURNAL);
    struct value_report v = value(Q_GH);
    assert_int_equal(v.origin, ORIGIN_HAND);
    assert_int_equal(v.flag, FLAG_GOOD);
    assert_near(v.value, 10, 0);
    engine_tank_wait(&w, 3 * MS_PER_MIN); /* the on-delay */
    assert_true(engine_tank_alert(&w, "tank/a1/gh-high").active);
    assert_int_equal(engine_tank_test(&w, Q_GH, 6, UTC_NONE), STATUS_OK);
    engine_tank_wait(&w, 6 * MS_PER_MIN);
    assert_false(engine_tank_alert(&w, "tank/a1/gh-high").active);
}

static void a_speaking_probe_goes_before(void **state)
{
    (void)state;
    engine_tank_send(&w, TANK_TEMP, 24);
    assert_int_equal(engine_tank_test(&w, Q_TEMP, 28, UTC_NONE), STATUS_OK);
    assert_int_equal(value(Q_TEMP).origin, ORIGIN_PROBE);
    engine_tank_wait(&w, 5 * MS_PER_MIN);
    assert_false(engine_tank_alert(&w, "tank/a1/temp-high").active);
    engine_tank_wait(&w, MS_PER_HOUR); /* silent now, but the test is no newer than its last value */
    assert_int_equal(value(Q_TEMP).origin, ORIGIN_PROBE);
    assert_int_equal(engine_tank_test(&w, Q_TEMP, 25, UTC_NONE), STATUS_OK);
    assert_int_equal(value(Q_TEMP).origin, ORIGIN_HAND);
}

static void old_tests_and_tests_of_the_future(void **state)
{
    (void)state;
    utc_t before = { w.now.utc.ms - MS_PER_DAY }, after = { w.now.utc.ms + MS_PER_HOUR };
    assert_int_equal(engine_tank_test(&w, Q_GH, 6, UTC_NONE), STATUS_OK);
    assert_int_equal(engine_tank_test(&w, Q_GH, 9, before), STATUS_OK);
    assert_near(value(Q_GH).value, 6, 0);
    assert_int_equal(engine_tank_test(&w, Q_GH, 9, after), STATUS_REFUSED);
    assert_near(value(Q_GH).value, 6, 0);
    engine_tank_wait(&w, 31 * MS_PER_DAY);
    assert_true(value(Q_GH).stale);
    assert_int_equal(engine_tank_test(&w, Q_PH, 1, UTC_NONE), STATUS_OK);
    assert_int_equal(value(Q_PH).flag, FLAG_SUSPECT);
}

static void kept_over_a_restart(void **state)
{
    (void)state;
    static uint8_t bytes[1 << 20];
    assert_int_equal(engine_tank_test(&w, Q_GH, 6.5, UTC_NONE), STATUS_OK);
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    assert_true(n > 0);
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_int_equal(value(Q_GH).origin, ORIGIN_NONE);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
    assert_near(value(Q_GH).value, 6.5, 0);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_test_is_a_value_and_is_judged),
        TEST(a_speaking_probe_goes_before),
        TEST(old_tests_and_tests_of_the_future),
        TEST(kept_over_a_restart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
