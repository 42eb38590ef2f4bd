/* The walk of readings by hand; then random days at a small site, cut anywhere, shuffled among tanks, and
 * restored from damaged bytes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/text.h"
#include "engine/engine.h"
#include "engine_run.h"
#include "near.h"

/* --- what counts as a reading --- */

static void retained_without_own_time_is_nothing(void **state)
{
    (void)state;
    struct sample s = sample_of(stream_of("probes/a1/temp"), 12);
    put_in(&run, &s, true);
    assert_false(said(&run, "probes/a1/temp"));
    assert_int_equal(value_of(&run, 0, Q_TEMP).origin, ORIGIN_NONE);
    assert_int_equal(engine_counts(run.e).retained, 1);
    assert_int_equal(engine_counts(run.e).readings, 0);
    for (int m = 1; m < 20; m++) { /* a broker that comes and goes keeps no dead probe alive */
        run.ms = m * MS_PER_MIN;
        put_in(&run, &s, true);
    }
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void retained_with_own_time_is_news_once(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, -30000, true);
    assert_true(said(&run, "doc/b1#/temp 22 flag 1"));
    feed_at(&run, "doc/b1#/temp", 22, -30000, true);
    assert_int_equal(engine_counts(run.e).readings, 1);
    assert_int_equal(engine_counts(run.e).duplicates, 1);
}

static void late_duplicate_and_conflict(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, 0, false);
    run.ms = 60000;
    feed_at(&run, "doc/b1#/temp", 22.5, 60000, false);
    forget_log(&run);
    feed_at(&run, "doc/b1#/temp", 22.5, 60000, false);
    assert_int_equal(run.len, 0);
    feed_at(&run, "doc/b1#/temp", 23, 60000, false);
    assert_true(said(&run, "conflict: a second, different value for 2026-03-01T12:01:00.000Z"));
    feed_at(&run, "doc/b1#/temp", 5, 30000, false); /* late: stored, never judged by limits */
    assert_true(said(&run, "doc/b1#/temp 5 flag 1 tests 22222112 late"));
    assert_near(value_of(&run, 2, Q_TEMP).value, 22.5, 1e-9);
    struct engine_counts c = engine_counts(run.e);
    assert_int_equal(c.readings, 3);
    assert_int_equal(c.duplicates, 1);
    assert_int_equal(c.conflicts, 1);
    assert_int_equal(c.late, 1);
}

/* A backlog after an outage neither raises nor clears nor freshens. */
static void late_values_drive_nothing(void **state)
{
    (void)state;
    feed_at(&run, "doc/b1#/temp", 22, 0, false);
    for (int m = 1; m < 40; m++) {
        run.ms = m * MS_PER_MIN;
        feed_at(&run, "doc/b1#/temp", 3, -MS_PER_HOUR + m * 1000, false);
    }
    assert_false(said(&run, "temp-low"));
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
}

static void a_time_ahead_of_the_clock_is_not_the_newest(void **state)
{
    (void)state;
    run.ms = 60000;
    feed_at(&run, "doc/b1#/temp", 22, 60000 + 3600000, false);
    assert_int_equal(value_of(&run, 2, Q_TEMP).t.ms, T0 + 60000);
    run.ms = 120000;
    feed_at(&run, "doc/b1#/temp", 22.5, 120000 + 119000, false); /* a clock a little fast is believed */
    assert_int_equal(value_of(&run, 2, Q_TEMP).t.ms, T0 + 239000);
}

/* --- spikes --- */

static void a_value_waits_for_its_spike_verdict(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-high")].settings.on_delay_ms = 0;
    feed_for(&run, "probes/a1/temp", 24, 3);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 29); /* a lone spike of 5 */
    assert_false(said(&run, "temp-high"));
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 24);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 24);
    assert_true(said(&run, "probes/a1/temp 29 flag 4"));
    assert_false(said(&run, "temp-high"));
    feed_for(&run, "probes/a1/temp", 29, 1);
    assert_false(said(&run, "temp-high"));
    feed_for(&run, "probes/a1/temp", 29, 1); /* it stays up: no spike, a real rise */
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

static void without_a_successor_it_is_taken_when_the_gap_runs_out(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-high")].settings.on_delay_ms = 0;
    values[0].gate.gap_suspect_s = 300;
    feed_for(&run, "probes/a1/temp", 24, 3);
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a1/temp", 29);
    wait_to(&run, run.ms + 299999);
    assert_false(said(&run, "temp-high"));
    wait_to(&run, run.ms + 1);
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

static void a_spike_does_not_freshen(void **state)
{
    (void)state;
    values[0].stale_s = 600;
    feed_for(&run, "probes/a1/temp", 22, 3);
    int64_t last = run.ms;
    run.ms += 500000;
    feed(&run, "probes/a1/temp", 40);
    for (int i = 0; i < 20; i++) { /* then nothing but the code for no reading */
        run.ms += MS_PER_MIN;
        feed(&run, "probes/a1/temp", NAN);
    }
    (void)last;
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void what_is_kept_out_does_not_freshen(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 22, 10);
    for (int i = 0; i < 20; i++) {
        struct sample s = sample_of(stream_of("probes/a1/temp"), i % 2 ? 400 : NAN); /* gross 4, missing */
        run.ms += MS_PER_MIN;
        put_in(&run, &s, false);
        s.kind = SAMPLE_SYNTAX;
        s.reason = "not a number";
        run.ms += 1000;
        put_in(&run, &s, false);
    }
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    assert_near(value_of(&run, 0, Q_TEMP).value, 22, 0.1);
    assert_true(value_of(&run, 0, Q_TEMP).stale);
}

static void unreadable_speaks_for_the_silence_it_causes(void **state)
{
    (void)state;
    struct sample s = sample_of(stream_of("probes/a1/temp"), 22);
    s.kind = SAMPLE_SYNTAX;
    s.reason = "not a number";
    for (int m = 1; m < 20; m++) {
        run.ms = m * MS_PER_MIN;
        put_in(&run, &s, false);
    }
    assert_true(said(&run, "tank/a1/temp-refused raise!"));
    assert_true(said(&run, "tank/a1/temp-silent raise "));
    assert_int_equal(alert(&run, "tank/a1/temp-silent")->leader, slot_of("tank/a1/temp-refused"));
}

static void a_rate_flag_hides_nothing_from_a_limit(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 5);
    for (int i = 0; i < 6; i++) { /* a heater stuck on in a small tank, or hot water: it climbs fast */
        run.ms += 10000;
        feed(&run, "probes/a1/temp", 25 + 3.0 * i);
    }
    feed_for(&run, "probes/a1/temp", 40, 4);
    assert_true(said(&run, "tank/a1/temp-high raise!"));
}

/* --- silence --- */

static void a_probe_never_seen_is_told(void **state)
{
    (void)state;
    wait_to(&run, 15 * MS_PER_MIN - 1);
    assert_false(said(&run, "silent raise"));
    wait_to(&run, 15 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    assert_true(said(&run, "no value ever came on probes/a1/temp"));
}

static void a_place_that_does_not_carry_that_make_is_not_silent(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "probes/b2/temp", 24 + 0.0625 * (m % 2));
    }
    assert_false(said(&run, "tank/b2/temp-silent raise"));
}

static void silence_freezes_limits_and_heater_and_clears_nothing(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 19, 10);
    assert_true(said(&run, "tank/a1/temp-low raise!"));
    feed_for(&run, "probes/a1/temp", 24, 3); /* its off-delay of five minutes has begun */
    site.alerts[slot_of("tank/a1/temp-low")].settings.off_delay_ms = MS_PER_HOUR;
    forget_log(&run);
    wait_to(&run, run.ms + 4 * MS_PER_HOUR);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
    feed_for(&run, "probes/a1/temp", 19, 3);
    assert_false(said(&run, "tank/a1/temp-low raise"));
}

static void off_delay_does_not_run_out_in_silence(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-low")].settings.off_delay_ms = MS_PER_HOUR;
    feed_for(&run, "probes/a1/temp", 19, 10);
    feed_for(&run, "probes/a1/temp", 24, 3);
    wait_to(&run, run.ms + 4 * MS_PER_HOUR);
    assert_false(said(&run, "tank/a1/temp-low clear"));
    assert_true(alert(&run, "tank/a1/temp-low")->active);
    assert_true(alert(&run, "tank/a1/temp-low")->unknown);
}

static void the_second_probe_speaks_when_the_first_is_silent(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 10)
            feed(&run, "probes/a2/temp", 24 + 0.0625 * (m % 2));
        run.ms += 1000;
        feed(&run, "second/a2/temp", m < 40 ? 24.1 : 19 + 0.0625 * (m % 2));
    }
    assert_true(said(&run, "tank/a2/temp-silent raise!"));
    assert_true(said(&run, "tank/a2/temp-low raise!"));
}

/* A probe that fails long after another of its make is news of its own. */
static void a_later_silence_is_told_by_itself(void **state)
{
    (void)state;
    for (int m = 1; m < 120; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 60)
            feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m % 2));
        feed(&run, "doc/b1#/ec", 400 + m % 2);
        if (m < 10)
            feed(&run, "doc/b2#/temp", 24 + 0.0625 * (m % 2));
    }
    assert_true(said(&run, "tank/b2/temp-silent raise!"));
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
}

static void silent_together_is_one_message(void **state)
{
    (void)state;
    for (int m = 1; m < 60; m++) {
        run.ms = m * MS_PER_MIN;
        if (m < 10)
            feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m % 2));
        if (m < 11)
            feed(&run, "doc/b2#/temp", 24 + 0.0625 * (m % 2));
    }
    wait_to(&run, MS_PER_HOUR);
    assert_true(said(&run, "tank/b1/temp-silent raise!"));
    assert_true(said(&run, "tank/b2/temp-silent raise "));
}

/* A moving twin must not clear, value by value, what a stuck one shows. */
static void one_stuck_of_two_is_told_once(void **state)
{
    (void)state;
    for (int m = 1; m < 10 * 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "probes/a2/temp", 24);
        run.ms += 1000;
        feed(&run, "second/a2/temp", 24 + 0.0625 * (m % 2));
    }
    const char *first = strstr(log_a, "tank/a2/temp-stuck raise!");
    assert_non_null(first);
    assert_null(strstr(first + 1, "tank/a2/temp-stuck raise"));
    assert_false(said(&run, "tank/a2/temp-stuck clear"));
}

static void a_raw_probe_is_stuck_though_its_value_moves(void **state)
{
    (void)state;
    for (int m = 1; m < 76 * 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m / 40 % 8));
        feed(&run, "doc/b1#/ec", m > 73 * 60 && m < 76 * 60 - 2 ? 300 : 300 + 0.1 * (m % 7));
    }
    assert_true(said(&run, "tank/b1/ec-stuck raise!") && said(&run, "tank/b1/ec-stuck clear"));
}

static void one_that_always_moved_is_stuck_within_hours(void **state)
{
    (void)state;
    for (int m = 1; m < 79 * 60; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "probes/a2/ec", m > 76 * 60 ? 300 : 300 + m % 7);
    }
    assert_true(said(&run, "tank/a2/ec-stuck raise!"));
}

/* Hours of a stand, and the first reading after it. */
static void stands(int hours, double at, double then)
{
    for (int m = 0; m < hours * 60; m++) {
        run.ms += MS_PER_MIN;
        feed(&run, "probes/a2/ec", at);
        feed(&run, "doc/b1#/temp", 24 + 0.0625 * (m % 2)); /* the house is awake */
    }
    run.ms += MS_PER_MIN;
    feed(&run, "probes/a2/ec", then);
}

static void calm_water_in_coarse_steps_may_stand(void **state)
{
    (void)state;
    stands(18, 300, 305);
    assert_true(said(&run, "tank/a2/ec-stuck raise!")); /* once: nothing is known of it yet */
    forget_log(&run);
    stands(20, 305, 310);
    stands(20, 310, 305);
    assert_false(said(&run, "tank/a2/ec-stuck raise"));
    stands(31, 305, 300); /* a day's evaporation is less than one step */
    assert_false(said(&run, "tank/a2/ec-stuck raise"));
    stands(190, 300, 305);
    assert_true(said(&run, "tank/a2/ec-stuck raise!"));
}

static void one_odd_value_ends_no_stand_with_a_leap(void **state)
{
    (void)state;
    stands(18, 300, 1500);
    stands(1, 300, 305);
    forget_log(&run);
    stands(20, 305, 310);
    assert_false(said(&run, "tank/a2/ec-stuck raise"));
}

/* Purified water in whole microsiemens. */
static void what_is_nearly_nothing_may_stand(void **state)
{
    (void)state;
    stands(30, 5, 6);
    stands(7, 6, 5);
    stands(23, 5, 4);
    assert_false(said(&run, "tank/a2/ec-stuck raise"));
}

static void a_probe_that_hung_teaches_no_patience(void **state)
{
    (void)state;
    stands(18, 300, 360);
    forget_log(&run);
    stands(17, 355, 350);
    assert_true(said(&run, "tank/a2/ec-stuck raise!"));
}

/* --- the broker --- */

static void broker(struct run *r, bool down)
{
    advance(r, false);
    engine_service(r->e, KIND_BROKER_DOWN, down, "refused", now_of(r), &r->fx);
    take_effects(r);
    advance(r, true);
}

static void without_the_broker_silence_means_nothing(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    broker(&run, true);
    wait_to(&run, run.ms + 3 * MS_PER_HOUR);
    assert_true(said(&run, "lentic/broker-down raise!"));
    assert_false(said(&run, "silent raise"));
    broker(&run, false);
    wait_to(&run, run.ms + 14 * MS_PER_MIN);
    assert_false(said(&run, "silent raise"));
    wait_to(&run, run.ms + 2 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void a_restart_while_the_broker_is_away_forgets_no_probe(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    broker(&run, true);
    wait_to(&run, run.ms + MS_PER_HOUR);
    restart(&run, 30000, 9);
    broker(&run, false);
    wait_to(&run, run.ms + 16 * MS_PER_MIN);
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

/* --- conductivity --- */

static void conductivity_takes_its_own_tank_s_temperature(void **state)
{
    (void)state;
    feed(&run, "probes/a1/temp", 15);
    feed(&run, "probes/a2/temp", 16);
    feed(&run, "doc/b1#/ec", 300);
    assert_true(said(&run, "doc/b1#/ec nan flag 2")); /* no temperature yet: no number */
    run.ms = 1000;
    feed(&run, "doc/b1#/temp", 20);
    feed(&run, "doc/b1#/ec", 300);
    assert_near(value_of(&run, 2, Q_EC).value, 300 / (1 - 0.0191 * 5), 1e-6);
    run.ms = 60000;
    feed(&run, "doc/b1#/temp", 30);
    feed(&run, "doc/b1#/ec", 300);
    assert_near(value_of(&run, 2, Q_EC).value, 300 / (1 + 0.0191 * 5), 1e-6);
}

static void a_calibration_holds_from_now_on(void **state)
{
    (void)state;
    struct calib c = CALIB_IDENTITY;
    c.offset = -1.5;
    feed(&run, "probes/a1/temp", 24);
    engine_calibrate(run.e, stream_of("probes/a1/temp"), &c);
    run.ms = 60000;
    feed(&run, "probes/a1/temp", 24);
    assert_true(said(&run, "probes/a1/temp 24 flag"));
    assert_near(value_of(&run, 0, Q_TEMP).value, 22.5, 1e-9);
}

/* --- leaks --- */

static void any_wet_detector_is_a_leak_until_all_are_dry(void **state)
{
    (void)state;
    feed(&run, "leak/a1/left", 0);
    feed(&run, "leak/a1/right", 0);
    assert_false(said(&run, "tank/a1/leak "));
    run.ms = 60000;
    feed(&run, "leak/a1/right", 1); /* the second one */
    assert_true(said(&run, "tank/a1/leak raise! UNACK"));
    assert_true(said(&run, "the leak detector is wet"));
    for (int m = 2; m < 90; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "leak/a1/left", 0);
        feed(&run, "leak/a1/right", 1);
    }
    assert_false(said(&run, "tank/a1/leak clear"));
    for (int m = 90; m < 152; m++) {
        run.ms = m * MS_PER_MIN;
        feed(&run, "leak/a1/left", 0);
        feed(&run, "leak/a1/right", 0);
    }
    assert_true(said(&run, "tank/a1/leak clear!"));
}

static void a_drowned_detector_clears_nothing(void **state)
{
    (void)state;
    feed(&run, "leak/a1/left", 1);
    run.ms = 60000;
    feed(&run, "leak/a1/left", 0);
    wait_to(&run, run.ms + 5 * MS_PER_HOUR);
    assert_false(said(&run, "tank/a1/leak clear"));
}

static void a_leak_is_told_in_a_service_window_too(void **state)
{
    (void)state;
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 60);
    run.ms = 60000;
    feed(&run, "leak/a1/left", 1);
    assert_true(said(&run, "tank/a1/leak raise! UNACK"));
}

/* --- service --- */

static void a_service_window_ends_by_itself(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 30);
    feed_for(&run, "probes/a1/temp", 19, 20);
    assert_false(said(&run, "temp-low raise"));
    assert_true(said(&run, "tank/a1/temp-low state DSUPR"));
    feed_for(&run, "probes/a1/temp", 19, 15);
    assert_true(said(&run, "tank/a1/temp-low raise! UNACK"));
}

/* Work begins right after the first value of a new probe: nothing is judged yet, and nothing breaks. */
static void a_command_before_the_first_verdict(void **state)
{
    (void)state;
    feed(&run, "probes/a1/temp", 24);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 30);
    obey(&run, COMMAND_SHELVE, "tank/a1/temp-low", NULL, 30);
    obey(&run, COMMAND_OUT, NULL, "tank/a1", NAN);
    assert_int_equal(alert(&run, "tank/a1/temp-low")->marks, 7);
}

static void refusals_are_sentences(void **state)
{
    (void)state;
    obey(&run, COMMAND_ACK, "tank/a1/temp-low", NULL, NAN);
    obey(&run, COMMAND_ACK, NULL, "tank/a1", NAN);
    obey(&run, COMMAND_ACK, NULL, NULL, NAN);
    obey(&run, COMMAND_SERVICE, NULL, "room", 30);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 0);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a1", 5000);
    obey(&run, COMMAND_BACK, NULL, "tank/a1", NAN);
    assert_false(said(&run, "tank/a1"));
}

/* --- a restart --- */

static void a_long_stop_matures_no_delay_without_a_value(void **state)
{
    (void)state;
    site.alerts[slot_of("tank/a1/temp-low")].settings.on_delay_ms = 6 * MS_PER_HOUR;
    feed_for(&run, "probes/a1/temp", 24, 3);
    feed_for(&run, "probes/a1/temp", 19, 5);
    restart(&run, 12 * MS_PER_HOUR, 77);
    wait_to(&run, run.ms + 30 * MS_PER_MIN);
    assert_false(said(&run, "temp-low raise"));
    assert_true(said(&run, "tank/a1/temp-silent raise!"));
}

static void what_began_while_down_is_told(void **state)
{
    (void)state;
    feed_for(&run, "probes/a1/temp", 24, 3);
    feed_for(&run, "probes/a1/temp", 19, 3);
    restart(&run, 5 * MS_PER_MIN, -9);
    wait_to(&run, run.ms + 1000);
    assert_true(said(&run, "tank/a1/temp-low raise!"));
}

/* Windows full, the flat line's runs at their longest: the room that is asked for must do. */
static void the_room_always_suffices(void **state)
{
    (void)state;
    run_fini(&run);
    values[0].every_s = values[0].stale_s = NAN;
    values[0].gate.attenuated_window_s = 6 * 3600;
    values[0].gate.attenuated_suspect = 1e-9;
    values[0].gate.flat_tol = 2;
    run_init(&run, log_a);
    for (int h = 0; h < 510; h++) {
        run.ms = h * MS_PER_HOUR;
        feed(&run, "probes/a1/temp", 22 + 0.0625 * (h % 3));
    }
    for (int i = 0; i < 600; i++) {
        run.ms += 5 * MS_PER_MIN;
        feed(&run, "probes/a1/temp", 22 + 0.0625 * (i % 3));
    }
    for (int i = 0; i < 3000; i++) { /* swings that shrink: every record stays an extreme of the run */
        run.ms += 7000;
        feed(&run, "probes/a1/temp", 22 + (i % 2 ? 1 : -1) * (0.9 - i * 0.0002));
    }
    size_t room = engine_save_room(run.e);
    uint8_t *bytes = malloc(room);
    size_t n = engine_save(run.e, bytes, room, now_of(&run));
    assert_true(n > 60000);
    free(bytes);
}

/* --- random days --- */

static uint64_t dice;

static unsigned roll(unsigned sides)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (unsigned)((dice >> 33) % sides);
}

enum what { VALUE, COMMAND, LINK, PROBE, CLOCK };

struct happening {
    int64_t ms;
    enum what what;
    struct sample sample;
    bool retained;
    enum command_verb verb;
    int slot, tank;
    double minutes;
    struct command command; /* PROBE: calibrated or exchanged */
};

#define HAPPENINGS 700
static struct happening script[HAPPENINGS];

static struct sample random_sample(int64_t ms, double *level)
{
    static const char *const names[] = { "probes/a1/temp", "probes/a2/temp",  "second/a2/temp",
                                         "probes/a2/ec",   "doc/b1#/temp",    "doc/b1#/ec",
                                         "probes/b2/temp", "probes/room/temp" };
    unsigned n = roll(8);
    bool solids = n == 3 || n == 5;
    level[n] += ((double)roll(2001) - 1000) / (solids ? 100.0 : 2500.0);
    double v = (solids ? 290 : 21) + level[n] + (roll(40) == 0 ? 6 : 0);
    struct sample s = sample_of(stream_of(names[n]), roll(30) == 0 ? NAN : round(v * 16) / 16);
    if (n == 4 || n == 5) {
        s.claimed = (utc_t){ T0 + ms - (int64_t)roll(5) * 20000 };
        s.zoned = roll(20) > 0;
    }
    s.battery = roll(9) ? (double)NAN : roll(60);
    s.link = roll(9) ? (double)NAN : -(double)roll(90);
    if (n == 6) /* exchanged twice in the course of it, with stragglers */
        (void)snprintf(s.device, sizeof s.device, "%lld",
                       (long long)(ms / (4 * MS_PER_HOUR) + (roll(9) == 0)));
    if (roll(60) == 0) {
        s.kind = SAMPLE_ABSENT;
        s.reason = roll(2) ? "none of the members asked for" : NULL;
    }
    if (roll(40) == 0) {
        s.kind = roll(2) ? SAMPLE_SYNTAX : SAMPLE_UNIT;
        s.reason = "not a number";
        (void)snprintf(s.shown, sizeof s.shown, "%s", "???");
    }
    return s;
}

static struct command random_fitting(int tank)
{
    struct command c = { .verb = roll(3) ? COMMAND_CALIBRATE : COMMAND_EXCHANGE,
                         .place = site.tanks[tank].place,
                         .alert = -1,
                         .quantity = Q_TEMP,
                         .value = NAN,
                         .at = UTC_NONE,
                         .minutes = NAN,
                         .stream = -1,
                         .gain = NAN,
                         .offset = ((double)roll(21) - 10) / 20,
                         .undo = roll(3) == 0,
                         .back_to = UTC_NONE };
    (void)snprintf(c.device, sizeof c.device, "probe %u", roll(5));
    return c;
}

static void write_script(uint64_t seed)
{
    static const enum command_verb verbs[] = { COMMAND_ACK, COMMAND_SHELVE,  COMMAND_UNSHELVE,
                                               COMMAND_OUT, COMMAND_SERVICE, COMMAND_BACK,
                                               COMMAND_ACK, COMMAND_RESET };
    double level[8] = { 0 };
    int64_t ms = 0;
    dice = seed * UINT64_C(0x9E3779B97F4A7C15);
    for (int i = 0; i < HAPPENINGS; i++) {
        struct happening *h = &script[i];
        ms += roll(60) == 0 ? (int64_t)roll(90) * MS_PER_MIN : (int64_t)roll(5) * 10000;
        *h = (struct happening){ .ms = ms, .what = VALUE, .retained = roll(25) == 0 };
        h->sample = random_sample(ms, level);
        if (roll(20) == 0) {
            h->what = COMMAND;
            h->verb = verbs[roll(8)];
            h->slot = roll(3) ? (int)roll((unsigned)site.alert_count) : -1;
            h->tank = (int)roll(4);
            h->minutes = roll(4) ? 1.0 + roll(120) : (double)NAN;
        } else if (roll(90) == 0) {
            h->what = LINK;
            h->tank = (int)roll(2);
        } else if (roll(30) == 0) {
            h->what = PROBE;
            h->tank = (int)roll(4);
            h->command = random_fitting(h->tank);
        }
    }
}

static void play(struct run *r, const struct happening *h)
{
    r->ms = h->ms;
    if (h->what == VALUE)
        put_in(r, &h->sample, h->retained);
    else if (h->what == LINK)
        broker(r, h->tank == 1);
    else if (h->what == PROBE)
        request(r, &h->command);
    else if (h->what == CLOCK)
        r->leapt_ms = r->leapt_ms == 0 ? MS_PER_DAY : 0;
    else
        obey(r, h->verb, h->slot < 0 || h->verb == COMMAND_SERVICE ? NULL : site.alerts[h->slot].ref,
             site.places[site.tanks[h->tank].place].text, h->minutes);
}

/* Some of the days with a wall clock that leaps a day ahead and comes back. */
static void let_the_clock_leap(void)
{
    for (int i = 0; i < HAPPENINGS; i++)
        if (roll(120) == 0)
            script[i].what = CLOCK;
}

static void same_log(const char *wanted, const char *got, const char *what, uint64_t seed, int at)
{
    size_t line = 0;
    for (size_t i = 0; wanted[i] == got[i] && wanted[i] != '\0'; i++)
        if (wanted[i] == '\n')
            line = i + 1;
    if (strcmp(wanted, got) != 0)
        fail_msg("seed %llu, %s %d: wanted\n%.400s\ngot\n%.400s", (unsigned long long)seed, what, at,
                 wanted + line, got + line);
}

static void a_cut_anywhere_changes_nothing(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 1; seed <= 12; seed++) {
        write_script(seed);
        if (seed % 3 == 0)
            let_the_clock_leap();
        run_init(&run, log_a);
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        assert_true(run.len > 20000);
        for (int cut = 7; cut < HAPPENINGS; cut += 97) {
            run_init(&run, log_b);
            for (int i = 0; i < HAPPENINGS; i++) {
                play(&run, &script[i]);
                if (i % cut == cut - 1)
                    restart(&run, 0, (int64_t)roll(1000000));
            }
            run_fini(&run);
            same_log(log_a, log_b, "cut after every", seed, cut);
        }
    }
    run_init(&run, log_a);
}

/* Lines of one tank: its alerts, its probes, its events. */
static void lines_of(const char *log, const char *tank, char *out)
{
    char ref[32], probe[32], doc[32];
    (void)snprintf(ref, sizeof ref, " tank/%s/", tank);
    (void)snprintf(probe, sizeof probe, "/%s/", tank);
    (void)snprintf(doc, sizeof doc, "/%s#", tank);
    size_t len = 0;
    for (const char *at = log; *at != '\0';) {
        size_t n = strcspn(at, "\n") + 1;
        char line[1024];
        (void)snprintf(line, sizeof line, "%.*s", (int)n, at);
        if (strstr(line, ref) != NULL || strstr(line, probe) != NULL || strstr(line, doc) != NULL) {
            memcpy(out + len, at, n);
            len += n;
        }
        at += n;
    }
    out[len] = '\0';
}

static bool of_same_tank(const struct happening *a, const struct happening *b)
{
    if (a->what != VALUE || b->what != VALUE)
        return true;
    int p = site.streams[a->sample.stream].place, q = site.streams[b->sample.stream].place;
    return p == q || p == AT_ROOM || q == AT_ROOM;
}

/* Neighbours of different tanks at one instant change places; those of one tank keep their order. */
static void shuffle(void)
{
    for (int round = 0; round < 4; round++)
        for (int i = 0; i + 1 < HAPPENINGS; i++)
            if (script[i].ms == script[i + 1].ms && !of_same_tank(&script[i], &script[i + 1]) && roll(2)) {
                struct happening h = script[i];
                script[i] = script[i + 1];
                script[i + 1] = h;
            }
}

static void other_tanks_order_changes_nothing(void **state)
{
    (void)state;
    static char a[LOG_MAX], b[LOG_MAX];
    static const char *const tanks[] = { "a1", "a2", "b1", "b2" };
    run_fini(&run);
    for (uint64_t seed = 50; seed < 58; seed++) {
        write_script(seed);
        for (int i = 0; i < HAPPENINGS; i++)
            script[i].ms = script[i].ms / 30000 * 30000; /* many at one instant */
        run_init(&run, log_a);
        run.alone = false;
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        shuffle();
        run_init(&run, log_b);
        run.alone = false;
        for (int i = 0; i < HAPPENINGS; i++)
            play(&run, &script[i]);
        run_fini(&run);
        for (int t = 0; t < 4; t++) {
            lines_of(log_a, tanks[t], a);
            lines_of(log_b, tanks[t], b);
            same_log(a, b, "tank", seed, t);
        }
    }
    run_init(&run, log_a);
}

/* --- damaged state --- */

static void is_sane(struct run *r)
{
    for (int i = 0; i < site.alert_count; i++) {
        const struct alert *a = engine_alert(r->e, i);
        assert_in_range(a->base, ALERT_NORM, ALERT_LATAK);
        assert_in_range(a->marks, 0, 7);
        assert_true(a->leader >= -1 && a->leader < site.alert_count);
        assert_int_equal(a->index, i);
        assert_true(memchr(a->evidence, '\0', sizeof a->evidence) != NULL);
    }
}

/* Whatever came back: a day and a half later nothing is kept quiet that has no end, and values are judged. */
static void lives_on(struct run *r, int from)
{
    is_sane(r);
    int64_t begin = r->ms;
    for (int i = from; i < HAPPENINGS && i < from + 40; i++) {
        play(r, &script[i]);
        is_sane(r);
    }
    if (r->ms < begin)
        r->ms = begin;
    wait_to(r, r->ms + 49 * MS_PER_HOUR);
    for (int i = 0; i < site.alert_count; i++)
        assert_int_equal(engine_alert(r->e, i)->marks & (ALERT_SHELVED | ALERT_BY_DESIGN), 0);
    for (int i = 0; i < 6; i++) {
        r->ms += MS_PER_MIN;
        feed(r, "probes/a1/temp", 24 + 0.0625 * (i % 2));
    }
    assert_int_equal(value_of(r, 0, Q_TEMP).t.ms, T0 + r->ms);
}

static size_t snapshot(uint64_t seed, uint8_t **bytes)
{
    write_script(seed);
    run_init(&run, log_a);
    for (int i = 0; i < 400; i++)
        play(&run, &script[i]);
    obey(&run, COMMAND_SERVICE, NULL, "tank/a2", 60);
    size_t room = engine_save_room(run.e);
    *bytes = malloc(room);
    size_t n = engine_save(run.e, *bytes, room, now_of(&run));
    run_fini(&run);
    return n;
}

static void wake(const uint8_t *bytes, size_t n)
{
    run.len = 0;
    run.zero = 3;
    run.e = engine_init(&site, now_of(&run));
    (void)engine_restore(run.e, bytes, n, now_of(&run));
}

static void damaged_bytes_do_no_harm(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 200; seed < 203; seed++) {
        uint8_t *bytes;
        size_t n = snapshot(seed, &bytes);
        int64_t ms = run.ms;
        for (int trial = 0; trial < 25; trial++) {
            uint8_t *damaged = malloc(n);
            memcpy(damaged, bytes, n);
            for (unsigned k = 0; k < 1 + roll(12); k++)
                damaged[roll((unsigned)n)] ^= (uint8_t)(1u << roll(8));
            size_t kept = roll(5) == 0 ? roll((unsigned)n) : n;
            run.ms = ms;
            wake(damaged, kept);
            free(damaged);
            lives_on(&run, 400);
            run_fini(&run);
        }
        free(bytes);
    }
    run_init(&run, log_a);
}

static uint32_t word_at(const uint8_t *b)
{
    return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

/* Damages the bodies of sections and makes their checksums fit again: written by another version, or by hand.
 */
static void damage_and_sign(uint8_t *bytes, size_t n)
{
    for (size_t at = 0; at + 16 <= n;) {
        uint32_t name = word_at(bytes + at + 4), body = word_at(bytes + at + 8);
        uint8_t *from = bytes + at + 16 + name;
        for (unsigned k = 0; body > 0 && k < 2 && roll(3) == 0; k++)
            from[roll(roll(2) ? body : (body < 200 ? body : 200))] = roll(3) ? (uint8_t)roll(256) : 0xff;
        uint32_t crc = checksum_crc32(0, bytes + at, 12);
        crc = checksum_crc32(crc, bytes + at + 16, name + body);
        for (int i = 0; i < 4; i++)
            bytes[at + 12 + (size_t)i] = (uint8_t)(crc >> (8 * i));
        at += 16 + name + body;
    }
}

static void plausible_damage_does_no_harm(void **state)
{
    (void)state;
    run_fini(&run);
    for (uint64_t seed = 300; seed < 303; seed++) {
        uint8_t *bytes;
        size_t n = snapshot(seed, &bytes);
        int64_t ms = run.ms;
        for (int trial = 0; trial < 40; trial++) {
            uint8_t *damaged = malloc(n);
            memcpy(damaged, bytes, n);
            damage_and_sign(damaged, n);
            run.ms = ms;
            wake(damaged, n);
            free(damaged);
            is_sane(&run);
            for (int i = 400; i < 460; i++)
                play(&run, &script[i]);
            wait_to(&run, run.ms + MS_PER_DAY);
            is_sane(&run);
            run_fini(&run);
        }
        free(bytes);
    }
    run_init(&run, log_a);
}

#define WITH_SITE(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SITE(retained_without_own_time_is_nothing),
        WITH_SITE(retained_with_own_time_is_news_once),
        WITH_SITE(late_duplicate_and_conflict),
        WITH_SITE(late_values_drive_nothing),
        WITH_SITE(a_time_ahead_of_the_clock_is_not_the_newest),
        WITH_SITE(a_value_waits_for_its_spike_verdict),
        WITH_SITE(without_a_successor_it_is_taken_when_the_gap_runs_out),
        WITH_SITE(a_spike_does_not_freshen),
        WITH_SITE(what_is_kept_out_does_not_freshen),
        WITH_SITE(unreadable_speaks_for_the_silence_it_causes),
        WITH_SITE(a_rate_flag_hides_nothing_from_a_limit),
        WITH_SITE(a_probe_never_seen_is_told),
        WITH_SITE(a_place_that_does_not_carry_that_make_is_not_silent),
        WITH_SITE(silence_freezes_limits_and_heater_and_clears_nothing),
        WITH_SITE(off_delay_does_not_run_out_in_silence),
        WITH_SITE(the_second_probe_speaks_when_the_first_is_silent),
        WITH_SITE(a_later_silence_is_told_by_itself),
        WITH_SITE(silent_together_is_one_message),
        WITH_SITE(one_stuck_of_two_is_told_once),
        WITH_SITE(what_is_nearly_nothing_may_stand),
        WITH_SITE(a_raw_probe_is_stuck_though_its_value_moves),
        WITH_SITE(one_that_always_moved_is_stuck_within_hours),
        WITH_SITE(calm_water_in_coarse_steps_may_stand),
        WITH_SITE(one_odd_value_ends_no_stand_with_a_leap),
        WITH_SITE(a_probe_that_hung_teaches_no_patience),
        WITH_SITE(without_the_broker_silence_means_nothing),
        WITH_SITE(a_restart_while_the_broker_is_away_forgets_no_probe),
        WITH_SITE(conductivity_takes_its_own_tank_s_temperature),
        WITH_SITE(a_calibration_holds_from_now_on),
        WITH_SITE(any_wet_detector_is_a_leak_until_all_are_dry),
        WITH_SITE(a_drowned_detector_clears_nothing),
        WITH_SITE(a_leak_is_told_in_a_service_window_too),
        WITH_SITE(a_service_window_ends_by_itself),
        WITH_SITE(a_command_before_the_first_verdict),
        WITH_SITE(refusals_are_sentences),
        WITH_SITE(a_long_stop_matures_no_delay_without_a_value),
        WITH_SITE(what_began_while_down_is_told),
        WITH_SITE(the_room_always_suffices),
        WITH_SITE(a_cut_anywhere_changes_nothing),
        WITH_SITE(other_tanks_order_changes_nothing),
        WITH_SITE(damaged_bytes_do_no_harm),
        WITH_SITE(plausible_damage_does_no_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
