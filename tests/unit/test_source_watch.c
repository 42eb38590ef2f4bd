/* Purified water over weeks, every ten minutes: what the trend is, that a new membrane cuts it, when it is
 * told. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/source_watch.h"
#include "engine_tank.h"

static struct engine_tank w;
static struct place places[4];
static struct source sources[1];
static int at_source[1] = { 3 };

static void set_up(double exhausted_ec)
{
    engine_tank_init(&w);
    memcpy(places, w.places, sizeof w.places);
    places[3] = (struct place){ PLACE_SOURCE, "ro", "source/ro", "ro", -1 };
    sources[0] = (struct source){ .place = 3, .feed = -1, .exhausted_ec = exhausted_ec };
    w.site.places = places;
    w.site.place_count = 4;
    w.site.sources = sources;
    w.site.source_count = 1;
}

static void begin(double exhausted_ec)
{
    set_up(exhausted_ec);
    w.entries[TANK_EC].place = 3;
    w.entries[TANK_EC].places = at_source;
    w.values[TANK_EC].every_s = 600;
    engine_tank_start(&w);
}

static int end(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

/* The probe wavers by a tenth around a straight line. */
static void pass(double days, double from, double per_day)
{
    for (int i = 0; i < (int)(days * 144); i++) {
        engine_tank_wait(&w, 10 * MS_PER_MIN);
        engine_tank_send(&w, TANK_EC, from + per_day * i / 144 + (i % 3 - 1) * 0.1);
    }
}

static struct source_live report(void)
{
    struct source_live live;
    engine_report_source(w.engine, 0, w.now, &live);
    return live;
}

static void the_trend_of_weeks(void **state)
{
    (void)state;
    begin(NAN);
    assert_int_equal(report().ec.origin, ORIGIN_NONE);
    pass(1, 8, 0.3);
    assert_int_equal(report().ec.origin, ORIGIN_PROBE);
    assert_true(isnan(report().trend.per_day)); /* a day is no trend */
    pass(11, 8.3, 0.3);
    struct source_live live = report();
    assert_true(fabs(live.trend.per_day - 0.3) < 0.02);
    assert_true(live.trend.sd < 0.02);
    assert_true(fabs(live.trend.span_d - 12) < 0.6);
    assert_true(fabs(live.ec.value - (8 + 0.3 * 11.75)) < 0.2); /* of the last twelve hours */
}

static void a_new_membrane_cuts_it(void **state)
{
    (void)state;
    begin(NAN);
    pass(10, 25, 0.5);
    pass(1, 7, 0.1);
    assert_true(isnan(report().trend.per_day));
    pass(7, 7.1, 0.1);
    struct source_live live = report();
    assert_true(fabs(live.trend.per_day - 0.1) < 0.02);
    assert_true(fabs(live.trend.span_d - 8) < 0.6);
}

static bool is_told(void)
{
    return engine_tank_alert(&w, "source/ro/worn").active;
}

static void what_rises_above_the_usual_is_told(void **state)
{
    (void)state;
    begin(NAN);
    pass(8, 8, 0);
    assert_false(is_told());
    pass(2, 16, 0);
    assert_true(is_told());
}

/* It has risen so slowly that it is usual: the unit's own limit tells. */
static void its_own_limit_is_told(void **state)
{
    (void)state;
    begin(12);
    pass(12, 10, 0.1);
    assert_false(is_told());
    pass(10, 11.2, 0.1);
    pass(3, 12.3, 0);
    assert_true(is_told());
    assert_non_null(strstr(engine_tank_alert(&w, "source/ro/worn").evidence, "its limit is 12"));
    pass(3, 8, 0);
    assert_false(is_told());
}

static void tap_water_does_not_wear_out(void **state)
{
    (void)state;
    begin(NAN);
    sources[0].kind = SOURCE_TAP;
    pass(8, 300, 0);
    pass(2, 600, 0);
    assert_false(is_told());
}

/* Notes with a value of EC, or of the kind alone where it is NaN. */
static void note(enum journal_kind kind, double ec)
{
    struct command c = { .verb = COMMAND_NOTE };
    struct why why = { "" };
    journal_clear(&c.note);
    c.note.kind = kind;
    snprintf(c.note.place, sizeof c.note.place, "source/ro");
    if (!isnan(ec))
        assert_int_equal(journal_put(&c.note, JOURNAL_VALUE, "ec", ec, NAN), STATUS_OK);
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
}

static void a_unit_without_a_probe_is_told_by_tests(void **state)
{
    (void)state;
    set_up(40);
    engine_tank_start(&w);
    note(JOURNAL_TEST, 39);
    assert_false(is_told());
    note(JOURNAL_TEST, 41);
    assert_true(is_told());
    note(JOURNAL_TEST, 39); /* between: as it was */
    engine_tank_wait(&w, 8 * MS_PER_HOUR);
    assert_true(is_told());
    note(JOURNAL_CLEANING, NAN);
    engine_tank_wait(&w, 8 * MS_PER_HOUR);
    assert_false(is_told());
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(the_trend_of_weeks, end),
        cmocka_unit_test_teardown(a_new_membrane_cuts_it, end),
        cmocka_unit_test_teardown(what_rises_above_the_usual_is_told, end),
        cmocka_unit_test_teardown(its_own_limit_is_told, end),
        cmocka_unit_test_teardown(tap_water_does_not_wear_out, end),
        cmocka_unit_test_teardown(a_unit_without_a_probe_is_told_by_tests, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
