/* The week beside the engine: it follows notes, and what corrects them. */
#include "app/planner.h"
#include "app_bench.h"

#include <math.h>

#define WEEK_SITE                                                                                            \
    "site = { id = \"mill\"; };\n"                                                                           \
    "waters = ( { id = \"soft\"; ec = 200.0; gh = 4.0; kh = 0.0; } );\n"                                     \
    "tanks = ( { id = \"a1\"; volume_l = 30.0; water = \"soft\"; change_l_week = 3.0; },\n"                  \
    "  { id = \"a2\"; volume_l = 30.0; } );\n"                                                               \
    "probes = ( { topic = \"air\"; place = \"room\"; measures = \"temp\"; every_s = 60; },\n"                \
    "  { topic = \"ph/{tank}\"; tanks = [\"a1\"]; measures = \"ph\"; every_s = 60; } );\n"

static struct planner planner;

static void on_effect(void *context, const struct effect *e)
{
    (void)context;
    if (e->kind == EFFECT_JOURNAL)
        planner_note(&planner, &e->u.journal, e->t);
}

static int make(void **state)
{
    struct pump_sinks sinks = { .effect = on_effect };
    (void)state;
    expect_sound(WEEK_SITE);
    ms = 0;
    pump_init(&pump, site, &sinks, now_is());
    planner_init(&planner, site);
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    planner_fini(&planner);
    pump_fini(&pump);
    return 0;
}

static const struct week_tank *week(int tank)
{
    struct tank_report report;
    engine_report_tank(pump.engine, tank, now_is(), &report);
    return planner_tank(&planner, &pump, &report, now_is());
}

static void notes_and_corrections_move_it(void **state)
{
    (void)state;
    assert_int_equal(week(0)->stages[0].at.ms, T0);
    ms = MS_PER_HOUR;
    say("lentic/mill/do/note", "{\"tank\":\"a1\",\"what\":\"change\",\"litres\":3}");
    const struct week_tank *w = week(0);
    assert_int_equal(w->stage_count, 0); /* in a week to the minute: behind these days */
    assert_int_equal(w->last_change.ms, T0 + MS_PER_HOUR);
    ms = 2 * MS_PER_HOUR;
    say("lentic/mill/do/note", "{\"correct\":1,\"at\":\"2026-02-25T12:00:00Z\"}");
    w = week(0);
    assert_int_equal(w->last_change.ms, T0 - 4 * MS_PER_DAY);
    assert_int_equal(w->stages[0].at.ms, T0 + 3 * MS_PER_DAY);
}

static void the_room_s_air(void **state)
{
    (void)state;
    assert_int_not_equal(week(0)->fresh[WEEK_TEMP].origin, WEEK_ROOM);
    for (int i = 0; i < 3; i++)
        minute("air", "19.5");
    assert_true(week(0)->fresh[WEEK_TEMP].value == 19.5);
}

static void the_room_waits_for_every_tank(void **state)
{
    (void)state;
    assert_false(planner_room_is_due(&planner, now_is())); /* before the first connection */
    planner.room_due = now_is().mono;
    assert_true(planner_room_is_due(&planner, now_is()));
    (void)week(0);
    assert_null(planner_room(&planner, &pump, now_is()));
    (void)week(1);
    const struct week_room *room = planner_room(&planner, &pump, now_is());
    assert_non_null(room);
    assert_true(room->waters[0].litres == 3);
    assert_int_equal(room->never_calibrated, 1);
    assert_false(planner_room_is_due(&planner, now_is()));
    say("lentic/mill/do/note", "{\"tank\":\"a2\",\"what\":\"remark\",\"text\":\"all well\"}");
    assert_false(planner_room_is_due(&planner, now_is())); /* the tanks go first */
    ms += 11 * MS_PER_S;
    assert_true(planner_room_is_due(&planner, now_is()));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(notes_and_corrections_move_it, make, unmake),
        cmocka_unit_test_setup_teardown(the_room_s_air, make, unmake),
        cmocka_unit_test_setup_teardown(the_room_waits_for_every_tank, make, unmake),
    };
    RUN(tests);
}
