/* The board as a keeper reads it, at several widths. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/board.h"
#include "show/width.h"

#define NOW INT64_C(1772366400000)

static struct board_tank tanks[3];
static struct board_alert alerts[3];
static char buf[16384];

static struct board_value value(double v, double per_day)
{
    return (struct board_value){ true, v, per_day, { NOW - 12000 }, FLAG_GOOD, false };
}

static struct board made(void)
{
    memset(tanks, 0, sizeof tanks);
    memset(alerts, 0, sizeof alerts);
    tanks[0] = (struct board_tank){ .id = "a1", .heard = true };
    tanks[0].values[Q_TEMP] = value(24.31, -5);
    tanks[0].values[Q_EC] = value(412, 1);
    tanks[1] = (struct board_tank){ .id = "a2", .heard = true };
    tanks[1].values[Q_TEMP] = value(23.0, (double)NAN);
    tanks[1].values[Q_TEMP].stale = true;
    tanks[2] = (struct board_tank){ .id = "nursery-3" };
    alerts[0] = (struct board_alert){ .place = "room",
                                      .title = "room cold",
                                      .state = "SHLVD",
                                      .priority = PRIORITY_HIGH,
                                      .since = { NOW - 60000 },
                                      .due = UTC_NONE };
    alerts[1] = (struct board_alert){ .place = "tank/a1",
                                      .title = "conductivity drifted",
                                      .state = "UNACK",
                                      .priority = PRIORITY_LOW,
                                      .since = { NOW - 60000 },
                                      .due = UTC_NONE };
    alerts[2] = (struct board_alert){ .place = "tank/a1",
                                      .title = "heater not heating",
                                      .state = "ACKED",
                                      .priority = PRIORITY_HIGH,
                                      .since = { NOW - 720000 },
                                      .due = { NOW + 9600000 },
                                      .cause = "heater not heating",
                                      .action = "Check the plug.",
                                      .who = "ann" };
    return (struct board){ .name = "Millrace",
                           .clock = "12:00",
                           .now = { NOW },
                           .service = BOARD_SERVICE_ONLINE,
                           .service_since = { NOW - 3600000 },
                           .tanks = tanks,
                           .tank_count = 3,
                           .alerts = alerts,
                           .alert_count = 3 };
}

static const char *drawn(struct board *board, struct board_look look)
{
    struct text out = text_over(buf, sizeof buf);
    board_sort(board);
    board_put(&out, board, look);
    assert_false(out.cut);
    return buf;
}

static void has(const char *text, const char *piece)
{
    if (strstr(text, piece) == NULL)
        fail_msg("no \"%s\" in:\n%s", piece, text);
}

static void tells_values_trend_and_alerts(void **state)
{
    (void)state;
    struct board board = made();
    const char *text = drawn(&board, (struct board_look){ 100, false });
    has(text, "Millrace  12:00\nservice running for 1 h");
    has(text, "24.3↓");
    has(text, "412→");
    has(text, "(23.0)");
    has(text, "12 s  !!! heater not heating (+1)");
    has(text, "no fresh reading");
    has(text, "nothing heard yet");
    has(text, "high priority, tank/a1: heater not heating, for 12 min, acknowledged by ann");
    assert_null(strstr(text, "Cause: heater not heating")); /* said by the title */
    has(text, "Time left: about 2 h 40 min");
    has(text, "To do: Check the plug.");
    assert_null(strchr(text, '\033'));
}

static void marks_are_explained_while_they_are_seen(void **state)
{
    (void)state;
    struct board board = made();
    has(drawn(&board, (struct board_look){ 100, false }), "\n( ) old\n");
    tanks[0].values[Q_TEMP].flag = FLAG_SUSPECT;
    has(drawn(&board, (struct board_look){ 100, false }), "\n~ doubtful, ( ) old\n");
    for (int i = 0; i < board.tank_count; i++)
        for (int q = 0; q < Q_COUNT; q++)
            tanks[i].values[q].known = false;
    assert_null(strstr(drawn(&board, (struct board_look){ 100, false }), "old\n"));
}

static void what_is_over_asks_for_nothing(void **state)
{
    (void)state;
    struct board board = made();
    strcpy(alerts[2].state, "RTNUN");
    strcpy(alerts[2].cause, "heater");
    assert_null(strstr(drawn(&board, (struct board_look){ 100, false }), "To do: Check the plug."));
    assert_null(strstr(buf, "Cause: heater")); /* the title says so */
}

static void most_urgent_first(void **state)
{
    (void)state;
    struct board board = made();
    board_sort(&board);
    assert_string_equal(alerts[0].title, "heater not heating");
    assert_string_equal(alerts[1].title, "conductivity drifted");
    assert_string_equal(alerts[2].title, "room cold");
    assert_true(board_alert_active(&alerts[0]));
    assert_false(board_alert_active(&alerts[2]));
}

static void no_line_is_wider_than_the_terminal(void **state)
{
    (void)state;
    static const int widths[] = { 20, 40, 60, 80, 120, 200 };
    for (size_t i = 0; i < sizeof widths / sizeof *widths; i++) {
        struct board board = made();
        int limit = widths[i] < 40 ? 40 : widths[i];
        strcpy(alerts[1].evidence,
               "a long sentence that goes on and on with figures like 412 µS/cm and 380 µS/cm "
               "until it must be broken into several lines of the terminal");
        char *line = (char *)(uintptr_t)drawn(&board, (struct board_look){ widths[i], false });
        for (char *end; (end = strchr(line, '\n')) != NULL; line = end + 1) {
            *end = 0;
            if (width_of(line) > limit)
                fail_msg("%d columns at %d: %s", width_of(line), limit, line);
        }
    }
}

static void a_dead_service_is_the_first_thing_told(void **state)
{
    (void)state;
    struct board board = made();
    board.service = BOARD_SERVICE_OFFLINE;
    board.alert_count = 0;
    has(drawn(&board, (struct board_look){ 100, false }), "SERVICE NOT RUNNING");
    has(buf, "No alerts known.");
    has(buf, "not watched now");
    assert_null(strstr(buf, "well"));
    board.service = BOARD_SERVICE_UNKNOWN;
    has(drawn(&board, (struct board_look){ 100, true }), "\033[1;31mno word from the service");
}

static void nothing_from_outside_drives_the_terminal(void **state)
{
    (void)state;
    struct board board = made();
    strcpy(alerts[2].action, "look\033[2J here\xff");
    assert_null(strchr(drawn(&board, (struct board_look){ 100, false }), '\033'));
    assert_null(strchr(buf, '\xff'));
    has(buf, "look?[2J here?");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tells_values_trend_and_alerts),
        cmocka_unit_test(marks_are_explained_while_they_are_seen),
        cmocka_unit_test(what_is_over_asks_for_nothing),
        cmocka_unit_test(most_urgent_first),
        cmocka_unit_test(no_line_is_wider_than_the_terminal),
        cmocka_unit_test(a_dead_service_is_the_first_thing_told),
        cmocka_unit_test(nothing_from_outside_drives_the_terminal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
