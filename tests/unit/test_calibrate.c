/* Calibrations through the engine. Millivolts by Nernst at 25 degrees: 59.159 mV a pH. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/calibrate.h"
#include "engine_tank.h"
#include "near.h"

static struct engine_tank w;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static void as_electrode(void)
{
    w.values[TANK_PH].millivolts = true;
    w.values[TANK_PH].unit = unit_stored(UNIT_VOLTAGE);
    w.values[TANK_PH].calib.kind = CALIB_ELECTRODE;
}

static struct command request(enum quantity q, int count, const double (*points)[3])
{
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = q;
    c.point_count = count;
    for (int i = 0; i < count; i++)
        c.points[i] = (struct calib_point){ points[i][0], points[i][1], points[i][2] };
    return c;
}

static enum status run(const struct command *c)
{
    why.text[0] = '\0';
    return engine_command(w.engine, c, w.now, &w.fx, &why);
}

static const struct effect *effect_of(enum effect_kind kind)
{
    for (size_t i = 0; i < w.fx.count; i++)
        if (w.fx.items[i].kind == kind)
            return &w.fx.items[i];
    return NULL;
}

static double value_of(enum quantity q)
{
    struct tank_report r;
    engine_report_tank(w.engine, 0, w.now, &r);
    return r.values[q].value;
}

static void two_buffers(void **state)
{
    (void)state;
    as_electrode();
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_TEMP, 25);
    /* NIST buffers are 4.008 and 6.865 at 25 degrees; 97 % of Nernst, 5 mV. */
    const double points[][3] = { { 5 + 0.97 * 59.1593 * (7 - 4.008), 4.01, 25 },
                                 { 5 + 0.97 * 59.1593 * (7 - 6.865), 6.86, 25 } };
    struct command c = request(Q_PH, 2, points);
    assert_int_equal(run(&c), STATUS_OK);
    assert_string_equal(why.text, "slope 97.0 %, offset 5.0 mV at pH 7; the electrode is good");
    const struct effect *fact = effect_of(EFFECT_CALIB);
    assert_near(fact->u.calib.calib.slope_fraction[1], 0.97, 1e-4);
    assert_int_equal(fact->u.calib.calib.since.ms, w.now.utc.ms);
    assert_false(fact->u.calib.undone);
    assert_non_null(effect_of(EFFECT_JOURNAL));
    assert_int_equal(effect_of(EFFECT_EVENT)->u.event.kind, EVENT_CALIBRATED);
    engine_tank_wait(&w, 60000);
    engine_tank_send(&w, TANK_PH, 5 + 0.97 * 59.1593 * 0.5);
    assert_near(value_of(Q_PH), 6.5, 1e-3);
}

static void three_buffers_and_one(void **state)
{
    (void)state;
    as_electrode();
    engine_tank_start(&w);
    const double three[][3] = { { 172, 4.00, 25 }, { 2, 7.00, 25 }, { -168, 10.01, 25 } };
    struct command c = request(Q_PH, 3, three);
    assert_int_equal(run(&c), STATUS_OK);
    struct calib was = effect_of(EFFECT_CALIB)->u.calib.calib;
    assert_near(was.pivot_ph, 7, 0);
    assert_true(was.residual > 0 && was.residual < 1);
    assert_non_null(strstr(why.text, "residual 0."));
    /* One buffer later on: the slope stays as it was, the offset moves by 3 mV. */
    engine_tank_wait(&w, MS_PER_DAY);
    const double one[][3] = { { 5, 7.00, 25 } };
    c = request(Q_PH, 1, one);
    assert_int_equal(run(&c), STATUS_OK);
    struct calib now = effect_of(EFFECT_CALIB)->u.calib.calib;
    assert_near(now.offset_mv - was.offset_mv, 3, 1e-9);
    assert_near(now.slope_fraction[0], was.slope_fraction[0], 1e-12);
    assert_non_null(strstr(why.text, "slope not measured"));
}

static void nonsense_is_refused_with_the_reason(void **state)
{
    (void)state;
    as_electrode();
    engine_tank_start(&w);
    const double same[][3] = { { 10, 7.00, 25 }, { 11, 7.00, 25 } };
    const double swapped[][3] = { { 10, 4.00, 25 }, { 180, 7.00, 25 } };
    const double warm[][3] = { { 170, 4.00, 15 }, { 0, 7.00, 25 } };
    const double blind[][3] = { { 10, 7.00, NAN } };
    struct command c = request(Q_PH, 2, same);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "same or too near"));
    c = request(Q_PH, 2, swapped);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "wrong sign"));
    c = request(Q_PH, 2, warm);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "room temperature"));
    c = request(Q_PH, 1, blind);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "\"temp\""));
    const double standard[][3] = { { 400, 1413, 25 } };
    c = request(Q_EC, 1, standard);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "wrong standard"));
    const double reference[][3] = { { 24, 31, NAN } };
    c = request(Q_TEMP, 1, reference);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "off by 7.00 °C"));
    c = request(Q_DO, 1, reference);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "has no probe of do"));
    assert_int_equal(w.fx.count, 0);
}

/* A probe that does not compensate shows 1413 / 1.0764 at 21 degrees (1.91 % a degree): 1305.7 is exact. */
static void conductivity_standards(void **state)
{
    (void)state;
    w.values[TANK_EC].compensated = false;
    w.values[TANK_EC].alpha = 0.0191;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_TEMP, 21);
    const double one[][3] = { { 1413 * (1 - 4 * 0.0191) / 1.05, 1413, 21 } };
    struct command c = request(Q_EC, 1, one);
    assert_int_equal(run(&c), STATUS_OK);
    assert_near(effect_of(EFFECT_CALIB)->u.calib.calib.gain, 1.05, 1e-9);
    assert_non_null(strstr(why.text, "cell constant is 105.0 %"));
    engine_tank_wait(&w, 60000);
    engine_tank_send(&w, TANK_EC, 300 * (1 - 4 * 0.0191) / 1.05);
    assert_near(value_of(Q_EC), 300, 1e-6);
    assert_near(engine_recompute(w.engine, TANK_EC, 300 * (1 - 4 * 0.0191) / 1.05, 21), 300, 1e-6);
    assert_true(isnan(engine_recompute(w.engine, TANK_EC, 300, NAN)));
    const double two[][3] = { { 80, 84, 25 }, { 1350, 1413, 25 } };
    c = request(Q_EC, 2, two);
    assert_int_equal(run(&c), STATUS_OK);
    struct calib line = effect_of(EFFECT_CALIB)->u.calib.calib;
    assert_near(line.gain * 80 + line.offset, 84, 1e-9);
    assert_near(line.gain * 1350 + line.offset, 1413, 1e-9);
}

static void reference_thermometer(void **state)
{
    (void)state;
    engine_tank_start(&w);
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_TEMP;
    c.point_count = 1;
    c.points[0] = (struct calib_point){ NAN, 24.6, NAN };
    assert_int_equal(run(&c), STATUS_REFUSED); /* it shows nothing yet */
    engine_tank_send(&w, TANK_TEMP, 24.1);
    assert_int_equal(run(&c), STATUS_OK);
    engine_tank_wait(&w, 60000);
    engine_tank_send(&w, TANK_TEMP, 24.1);
    assert_near(value_of(Q_TEMP), 24.6, 1e-9);
    c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_TEMP;
    c.offset = -0.2;
    engine_tank_wait(&w, 60000);
    assert_int_equal(run(&c), STATUS_OK);
    engine_tank_wait(&w, 60000);
    engine_tank_send(&w, TANK_TEMP, 24.1);
    assert_near(value_of(Q_TEMP), 23.9, 1e-9);
}

/* No swing of half a degree is seen where only the thermometer was set right. */
static void history_is_carried_over_and_undo_takes_it_back(void **state)
{
    (void)state;
    engine_tank_start(&w);
    for (int i = 0; i < 30; i++) {
        engine_tank_send(&w, TANK_TEMP, 24.1);
        engine_tank_wait(&w, 60000);
    }
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_TEMP;
    c.offset = 0.5;
    assert_int_equal(run(&c), STATUS_OK);
    engine_tank_send(&w, TANK_TEMP, 24.1);
    struct tank_report r;
    engine_report_tank(w.engine, 0, w.now, &r);
    assert_near(r.values[Q_TEMP].day_hi - r.values[Q_TEMP].day_lo, 0, 1e-5);
    c.undo = true;
    engine_tank_wait(&w, 60000);
    assert_int_equal(run(&c), STATUS_OK);
    assert_true(effect_of(EFFECT_CALIB)->u.calib.undone);
    engine_tank_send(&w, TANK_TEMP, 24.1);
    assert_near(value_of(Q_TEMP), 24.1, 1e-9);
    assert_int_equal(run(&c), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "no calibration to take back"));
}

/* What was measured before the calibration keeps the one of its time: a ring read again gives the same. */
static void earlier_readings_keep_theirs(void **state)
{
    (void)state;
    engine_tank_start(&w);
    struct calib c = CALIB_IDENTITY;
    c.offset = 1;
    c.since = (utc_t){ w.now.utc.ms + 60000 };
    engine_calibrate(w.engine, TANK_TEMP, &c);
    engine_tank_send(&w, TANK_TEMP, 24);
    assert_near(value_of(Q_TEMP), 24, 0);
    engine_tank_wait(&w, 60000);
    engine_tank_send(&w, TANK_TEMP, 24);
    assert_near(value_of(Q_TEMP), 25, 0);
}

static void due_after_a_month(void **state)
{
    (void)state;
    engine_tank_start(&w);
    engine_tank_send(&w, TANK_PH, 7.1);
    assert_false(engine_tank_alert(&w, "tank/a1/ph-calibration-due").active);
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_PH;
    c.offset = -0.1;
    assert_int_equal(run(&c), STATUS_OK);
    engine_tank_wait(&w, 31 * MS_PER_DAY);
    engine_tank_send(&w, TANK_PH, 7.1);
    engine_tank_wait(&w, MS_PER_HOUR);
    struct alert a = engine_tank_alert(&w, "tank/a1/ph-calibration-due");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "31 days ago"));
    assert_int_equal(run(&c), STATUS_OK);
    assert_false(engine_tank_alert(&w, "tank/a1/ph-calibration-due").active);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(two_buffers),
        TEST(three_buffers_and_one),
        TEST(nonsense_is_refused_with_the_reason),
        TEST(conductivity_standards),
        TEST(reference_thermometer),
        TEST(history_is_carried_over_and_undo_takes_it_back),
        TEST(earlier_readings_keep_theirs),
        TEST(due_after_a_month),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
