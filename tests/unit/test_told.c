/* Notes in the engine, beside what the probes say. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "engine/told.h"
#include "engine_tank.h"
#include "near.h"

static struct engine_tank w;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    engine_tank_init(&w);
    engine_tank_start(&w);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    engine_tank_fini(&w);
    return 0;
}

static enum status note(struct journal_entry e)
{
    struct command c = engine_tank_command(COMMAND_NOTE);
    c.note = e;
    why.text[0] = '\0';
    return engine_command(w.engine, &c, w.now, &w.fx, &why);
}

static struct journal_entry made(enum journal_kind kind)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = kind;
    strcpy(e.place, "tank/a1");
    return e;
}

static void a_number_that_is_brought_counts(void **state)
{
    (void)state;
    struct journal_entry e = made(JOURNAL_FEEDING);
    assert_int_equal(note(e), STATUS_OK);
    assert_int_equal(engine_note_next(w.engine), 2);
    e.id = 40;
    assert_int_equal(note(e), STATUS_OK);
    assert_int_equal(w.fx.items[w.fx.count - 1].u.journal.id, 40);
    assert_int_equal(engine_note_next(w.engine), 41);
    e.id = 7; /* records run again after a restart */
    assert_int_equal(note(e), STATUS_OK);
    assert_int_equal(engine_note_next(w.engine), 41);
}

static void a_change_is_the_last_change(void **state)
{
    (void)state;
    struct tank_report r;
    struct journal_entry e = made(JOURNAL_CHANGE);
    e.litres = 6;
    e.at = (utc_t){ w.now.utc.ms - MS_PER_HOUR };
    assert_int_equal(note(e), STATUS_OK);
    int64_t id = w.fx.items[w.fx.count - 1].u.journal.id;
    engine_report_tank(w.engine, 0, w.now, &r);
    assert_int_equal(r.last_change.ms, e.at.ms);
    const struct told_change *told = told_change_near(w.engine, 0, w.now.utc);
    assert_non_null(told);
    assert_near(told->litres, 6, 0);
    assert_null(told_change_near(w.engine, 0, (utc_t){ w.now.utc.ms + 3 * MS_PER_HOUR }));
    struct journal_entry gone = made(JOURNAL_KIND_COUNT);
    gone.withdraws = id;
    strcpy(gone.text, "not done after all");
    assert_int_equal(note(gone), STATUS_OK);
    assert_null(told_change_near(w.engine, 0, w.now.utc));
}

static void notes_outlive_a_restart(void **state)
{
    (void)state;
    static uint8_t bytes[1 << 20];
    struct journal_entry e = made(JOURNAL_CHANGE);
    assert_int_equal(note(e), STATUS_OK);
    size_t n = engine_save(w.engine, bytes, sizeof bytes, w.now);
    engine_fini(w.engine);
    w.engine = engine_init(&w.site, w.now);
    assert_true(engine_restore(w.engine, bytes, n, w.now) > 0);
    assert_int_equal(engine_note_next(w.engine), 2);
    assert_non_null(told_change_near(w.engine, 0, w.now.utc));
}

static void the_answer_doubts(void **state)
{
    (void)state;
    for (int i = 0; i < 60; i++) {
        engine_tank_send(&w, TANK_PH, 6.2);
        engine_tank_wait(&w, MS_PER_MIN);
    }
    struct journal_entry e = made(JOURNAL_TEST);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ph", 7.1, 0.1), STATUS_OK);
    assert_int_equal(note(e), STATUS_OK);
    assert_non_null(strstr(why.text, "ph 7.10 ± 0.1 by hand, the probe 6.20"));
    assert_non_null(strstr(why.text, "never calibrated here"));
    e.item_count = 0;
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ph", 6.3, 0.1), STATUS_OK);
    assert_int_equal(note(e), STATUS_OK);
    assert_null(strstr(why.text, "by hand"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_number_that_is_brought_counts),
        TEST(a_change_is_the_last_change),
        TEST(notes_outlive_a_restart),
        TEST(the_answer_doubts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
