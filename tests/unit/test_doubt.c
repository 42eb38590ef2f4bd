/* Hand tests and twins that contradict a probe: which is doubted, and why. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/doubt.h"
#include "engine_tank.h"

static struct engine_tank w;

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

static void run_for(int minutes, double temp, double ec, double ph)
{
    for (int i = 0; i < minutes; i++) {
        engine_tank_all(&w, temp, ec + i % 2, ph);
        engine_tank_wait(&w, 60000);
    }
}

static enum status hand(enum quantity q, double v, int64_t ago_ms)
{
    return engine_tank_test(&w, q, v, (utc_t){ w.now.utc.ms - ago_ms });
}

static const char *event_text(void)
{
    for (size_t i = 0; i < w.fx.count; i++)
        if (w.fx.items[i].kind == EFFECT_EVENT && w.fx.items[i].u.event.kind == EVENT_DOUBT)
            return w.fx.items[i].u.event.text;
    return "";
}

static void calibrated(int stream, int64_t days_ago)
{
    struct calib c = CALIB_IDENTITY;
    c.since = (utc_t){ w.now.utc.ms - days_ago * MS_PER_DAY };
    engine_calibrate(w.engine, stream, &c);
}

static struct alert alert(const char *ref)
{
    return engine_tank_alert(&w, ref);
}

static void within_both_uncertainties_nothing_is_said(void **state)
{
    (void)state;
    engine_tank_start(&w);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_EC, 320, 0), STATUS_OK);
    assert_int_equal(hand(Q_PH, 7.4, 0), STATUS_OK);
    assert_string_equal(event_text(), "");
    assert_false(alert("tank/a1/ec-drifting").active || alert("tank/a1/ph-drifting").active);
}

static void an_old_calibration_is_doubted(void **state)
{
    (void)state;
    engine_tank_start(&w);
    calibrated(TANK_EC, 94);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_EC, 380, 0), STATUS_OK);
    struct alert a = alert("tank/a1/ec-drifting");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "ec 380 ± "));
    assert_non_null(strstr(a.evidence, "doubt the probe first: last calibrated 94 days ago"));
    /* What the solids show does not take back what the test said; a test that agrees does. */
    run_for(3 * 24 * 60, 22, 300, 7);
    assert_true(alert("tank/a1/ec-drifting").active);
    assert_int_equal(hand(Q_EC, 305, 0), STATUS_OK);
    assert_false(alert("tank/a1/ec-drifting").active); /* at once: a person looked */
}

/* A slip of the finger, told back. */
static void a_test_that_is_withdrawn_doubts_nothing(void **state)
{
    (void)state;
    struct command c = engine_tank_command(COMMAND_NOTE);
    struct why why = { "" };
    engine_tank_start(&w);
    calibrated(TANK_EC, 94);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_EC, 380, 0), STATUS_OK);
    int64_t first = engine_note_next(w.engine) - 1;
    engine_tank_wait(&w, 60000);
    assert_int_equal(hand(Q_EC, 390, 0), STATUS_OK);
    assert_true(alert("tank/a1/ec-drifting").active);
    journal_clear(&c.note);
    c.note.withdraws = first + 1;
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_true(alert("tank/a1/ec-drifting").active); /* the one before says so too */
    c.note.withdraws = first;
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    assert_false(alert("tank/a1/ec-drifting").active);
}

static void a_new_calibration_is_trusted(void **state)
{
    (void)state;
    engine_tank_start(&w);
    calibrated(TANK_PH, 3);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_PH, 6.0, 10 * MS_PER_MIN), STATUS_OK);
    assert_non_null(strstr(event_text(), "doubt the test first: the probe was calibrated 3 days ago"));
    assert_false(alert("tank/a1/ph-drifting").active);
}

static void nothing_to_compare_with(void **state)
{
    (void)state;
    engine_tank_start(&w);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_PH, 5.0, 3 * MS_PER_HOUR), STATUS_OK); /* before the probe spoke */
    assert_int_equal(hand(Q_GH, 5.0, 0), STATUS_OK);
    assert_string_equal(event_text(), "");
}

static void calibrating_ends_it(void **state)
{
    (void)state;
    engine_tank_start(&w);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_PH, 6.0, 0), STATUS_OK);
    assert_true(alert("tank/a1/ph-drifting").active);
    assert_non_null(strstr(event_text(), "never calibrated here"));
    struct why why = { "" };
    struct command c = engine_tank_command(COMMAND_CALIBRATE);
    c.quantity = Q_PH;
    c.offset = -1;
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
    engine_tank_wait(&w, 7 * MS_PER_HOUR);
    assert_false(alert("tank/a1/ph-drifting").active);
}

/* The second thermometer of a tank creeps away: the one that moved is named. */
static void twins_apart(void **state)
{
    (void)state;
    w.values[TANK_EC] = w.values[TANK_TEMP];
    engine_tank_start(&w);
    for (int i = 0; i < 16 * 24 * 6; i++) {
        engine_tank_send(&w, TANK_TEMP, 22);
        engine_tank_send(&w, TANK_EC, i < 15 * 24 * 6 ? 22.1 : 23.2);
        engine_tank_wait(&w, 600000);
    }
    struct alert a = alert("tank/a1/temp-drifting");
    assert_true(a.active);
    assert_non_null(strstr(a.evidence, "doubt p/ec: it moved by 1.1"));
    assert_int_equal(hand(Q_TEMP, 23.3, 0), STATUS_OK);
    assert_non_null(strstr(event_text(), "doubt the probe: an alert on it stands"));
}

static void survives_a_restart(void **state)
{
    (void)state;
    static uint8_t bytes[1 << 20];
    engine_tank_start(&w);
    run_for(20, 22, 300, 7);
    assert_int_equal(hand(Q_EC, 400, 0), STATUS_OK);
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
    run_for(600, 22, 300, 7);
    assert_true(alert("tank/a1/ec-drifting").active);
}

/* Raises of that alert that went out to people, in so many minutes of that pH. */
static int told(const char *ref, int minutes, double ph)
{
    int n = 0;
    for (int i = 0; i < minutes; i++) {
        w.fx.count = 0;
        run_for(1, 22, 300, ph);
        for (size_t k = 0; k < w.fx.count; k++) {
            const struct effect *e = &w.fx.items[k];
            n += e->kind == EFFECT_ALERT && e->u.alert.change == CHANGE_RAISE && e->u.alert.announce &&
                 strcmp(w.site.alerts[e->u.alert.alert.index].ref, ref) == 0;
        }
    }
    return n;
}

#define LOW "tank/a1/ph-low"

static void a_limit_that_only_a_wrong_probe_sees_passed_is_no_news(void **state)
{
    (void)state;
    w.tank.band[Q_PH].lo = 6;
    engine_tank_start(&w);
    run_for(60, 22, 300, 6.2);
    assert_int_equal(hand(Q_PH, 7.2, 0), STATUS_OK);
    assert_true(alert("tank/a1/ph-drifting").active);
    run_for(20, 22, 300, 6.2);
    assert_int_equal(told(LOW, 60, 5.8), 0); /* 6.8 by the test */
    assert_true(alert(LOW).active);
    assert_string_equal(alert(LOW).cause, "probe drifting");
    assert_int_equal(told(LOW, 60, 6.3), 0);
    assert_int_equal(told(LOW, 60, 4.5), 1); /* 5.5: with the probe's error, too, it is low */
}

static void a_limit_is_told_once_while_its_cause_stands(void **state)
{
    (void)state;
    w.tank.band[Q_PH].lo = 6;
    engine_tank_start(&w);
    run_for(60, 22, 300, 7.4);
    assert_int_equal(hand(Q_PH, 6.4, 0), STATUS_OK);
    assert_int_equal(told(LOW, 60, 5.8), 1); /* the test says so too */
    assert_int_equal(told(LOW, 60, 6.3), 0);
    assert_int_equal(told(LOW, 60, 5.75), 0);
    assert_int_equal(told(LOW, 60, 6.3), 0);
    assert_int_equal(told(LOW, 60, 5.2), 1); /* worse */
    assert_int_equal(told(LOW, 60, 6.3), 0);
    engine_tank_wait(&w, 3 * MS_PER_DAY);
    assert_int_equal(told(LOW, 60, 5.8), 1); /* days later */
}

static void without_a_cause_it_is_told_each_time(void **state)
{
    (void)state;
    w.tank.band[Q_PH].lo = 6;
    engine_tank_start(&w);
    assert_int_equal(told(LOW, 60, 5.8), 1);
    assert_int_equal(told(LOW, 60, 6.3), 0);
    assert_int_equal(told(LOW, 60, 5.8), 1);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(within_both_uncertainties_nothing_is_said),
        TEST(an_old_calibration_is_doubted),
        TEST(a_test_that_is_withdrawn_doubts_nothing),
        TEST(a_new_calibration_is_trusted),
        TEST(nothing_to_compare_with),
        TEST(calibrating_ends_it),
        TEST(twins_apart),
        TEST(survives_a_restart),
        TEST(a_limit_that_only_a_wrong_probe_sees_passed_is_no_news),
        TEST(a_limit_is_told_once_while_its_cause_stands),
        TEST(without_a_cause_it_is_told_each_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
