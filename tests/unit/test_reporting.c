/* Changes of alerts into spells, and the axis of time. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <cmocka.h>

#include "cli/report_spells.h"
#include "small_room.h"

#define NOON  INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */
#define AT(h) ((utc_t){ NOON + (h)*MS_PER_HOUR })

static struct small_room room;
static struct reporting r;

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    r = (struct reporting){ .site = &room.site, .from = AT(0), .to = AT(24), .now = AT(24) };
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    reporting_fini(&r);
    return 0;
}

static void change(int hour, const char *what, const char *state, bool announced)
{
    struct alert_row row = { .t = AT(hour),
                             .place = "tank/a1",
                             .kind = "temp-low",
                             .priority = "high",
                             .value = 20.123,
                             .limit = 21,
                             .unit = "°C",
                             .announced = announced };
    snprintf(row.change, sizeof row.change, "%s", what);
    snprintf(row.state, sizeof row.state, "%s", state);
    snprintf(row.cause, sizeof row.cause, "cause at %d", hour);
    reporting_take_change(&r, &row);
}

static void a_spell_is_from_raise_to_clear(void **state)
{
    (void)state;
    change(1, "raise", "UNACK", true);
    change(2, "update", "UNACK", false);
    change(3, "ack", "ACKED", false);
    change(5, "clear", "NORM", true);
    assert_int_equal(r.page.spell_count, 1);
    const struct report_spell *s = r.page.spells;
    assert_int_equal(s->n.raised.ms, AT(1).ms);
    assert_int_equal(s->ended.ms, AT(5).ms);
    assert_true(s->sent);
    assert_string_equal(s->n.cause, "cause at 3"); /* while it was active, not why it ended */
    assert_string_equal(s->n.number, "20.123 °C, limit 21 °C");
    assert_int_equal(s->place, 1);
}

/* Work hides it: it is neither over nor begun anew. */
static void suppression_neither_ends_nor_begins_one(void **state)
{
    (void)state;
    change(1, "raise", "UNACK", true);
    change(2, "suppress", "DSUPR", false);
    change(3, "raise", "UNACK", true);
    assert_int_equal(r.page.spell_count, 1);
    assert_int_equal(r.page.spells[0].n.raised.ms, AT(1).ms);
    assert_false(utc_is_set(r.page.spells[0].ended));
    change(4, "suppress", "DSUPR", false);
    change(5, "unsuppress", "NORM", false);
    assert_int_equal(r.page.spells[0].ended.ms, AT(5).ms);
    change(6, "suppress", "DSUPR", false);
    change(7, "unsuppress", "NORM", false);
    assert_int_equal(r.page.spell_count, 1);
}

static void what_ended_before_the_span_is_left_out(void **state)
{
    (void)state;
    change(-20, "raise", "UNACK", true);
    change(-10, "clear", "NORM", true);
    assert_int_equal(r.page.spell_count, 0);
    change(-9, "raise", "UNACK", true);
    change(-8, "clear", "RTNUN", true); /* nobody has said "seen": it still stands as that */
    assert_int_equal(r.page.spell_count, 1);
    change(-7, "ack", "NORM", false);
    assert_int_equal(r.page.spell_count, 0);
    change(-6, "raise", "UNACK", true); /* into the span */
    change(2, "clear", "NORM", true);
    change(3, "raise", "UNACK", true);
    change(4, "clear", "NORM", true);
    assert_int_equal(r.page.spell_count, 2);
    assert_int_equal(r.page.spells[0].n.raised.ms, AT(-6).ms);
}

static void midnights_are_local_also_when_the_clocks_change(void **state)
{
    struct curve_tick ticks[REPORT_TICKS_MAX];
    (void)state;
    setenv("TZ", "Europe/Amsterdam", 1);
    tzset();
    utc_t from = { INT64_C(1774602000000) }, to = { from.ms + 5 * MS_PER_DAY }; /* 2026-03-27 10:00 */
    int n = reporting_ticks(from, to, ticks);
    assert_int_equal(n, 5);
    assert_string_equal(ticks[0].label, "Sat 28");
    assert_int_equal(ticks[1].t.ms - ticks[0].t.ms, 24 * MS_PER_HOUR);
    assert_int_equal(ticks[2].t.ms - ticks[1].t.ms, 23 * MS_PER_HOUR); /* the 29th is short */
}

static void ticks_are_few_for_any_span(void **state)
{
    struct curve_tick ticks[REPORT_TICKS_MAX];
    const double days[] = { 0.02, 0.5, 1, 2, 7, 30, 90, 365, 3650, 36500 };
    (void)state;
    for (size_t i = 0; i < sizeof days / sizeof *days; i++) {
        utc_t to = { NOON }, from = { NOON - (int64_t)(days[i] * (double)MS_PER_DAY) };
        int n = reporting_ticks(from, to, ticks);
        assert_in_range(n, 3, 12);
        for (int k = 0; k < n; k++)
            assert_true(ticks[k].t.ms >= from.ms && ticks[k].t.ms <= to.ms && ticks[k].label[0] != '\0');
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_spell_is_from_raise_to_clear, setup, teardown),
        cmocka_unit_test_setup_teardown(suppression_neither_ends_nor_begins_one, setup, teardown),
        cmocka_unit_test_setup_teardown(what_ended_before_the_span_is_left_out, setup, teardown),
        cmocka_unit_test(midnights_are_local_also_when_the_clocks_change),
        cmocka_unit_test(ticks_are_few_for_any_span),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
