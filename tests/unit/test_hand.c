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

/* The last entry that the engine handed out. */
static int64_t last_id(void)
{
    for (size_t i = w.fx.count; i-- > 0;)
        if (w.fx.items[i].kind == EFFECT_JOURNAL)
            return w.fx.items[i].u.journal.id;
    return 0;
}

static enum status correct(int64_t id, enum quantity q, double v, utc_t at)
{
    struct command c = engine_tank_command(COMMAND_NOTE);
    struct why why;
    journal_clear(&c.note);
    c.note.kind = JOURNAL_TEST;
    c.note.corrects = id;
    c.note.at = at;
    strcpy(c.note.place, "tank/a1");
    assert_int_equal(journal_put(&c.note, JOURNAL_VALUE, quantity_info(q)->name, v, NAN), STATUS_OK);
    return engine_command(w.engine, &c, w.now, &w.fx, &why);
}

static void withdraw(int64_t id)
{
    struct command c = engine_tank_command(COMMAND_NOTE);
    struct why why;
    journal_clear(&c.note);
    c.note.withdraws = id;
    strcpy(c.note.text, "wrong tank");
    assert_int_equal(engine_command(w.engine, &c, w.now, &w.fx, &why), STATUS_OK);
}

static void a_correction_revises_value_and_alert(void **state)
{
    (void)state;
    assert_int_equal(engine_tank_test(&w, Q_GH, 10, UTC_NONE), STATUS_OK);
    int64_t id = last_id();
    assert_true(id > 0);
    engine_tank_wait(&w, 3 * MS_PER_MIN);
    assert_true(engine_tank_alert(&w, "tank/a1/gh-high").active);
    assert_int_equal(correct(id, Q_GH, 7, (utc_t){ w.now.utc.ms - 3 * MS_PER_MIN }), STATUS_OK);
    assert_near(value(Q_GH).value, 7, 0);
    engine_tank_wait(&w, 6 * MS_PER_MIN);
    assert_false(engine_tank_alert(&w, "tank/a1/gh-high").active);
}

static void a_corrected_old_test_changes_nothing_now(void **state)
{
    (void)state;
    utc_t before = { w.now.utc.ms - 2 * MS_PER_DAY };
    assert_int_equal(engine_tank_test(&w, Q_GH, 12, before), STATUS_OK);
    int64_t id = last_id();
    assert_int_equal(engine_tank_test(&w, Q_GH, 6, UTC_NONE), STATUS_OK);
    assert_int_equal(correct(id, Q_GH, 13, before), STATUS_OK);
    assert_near(value(Q_GH).value, 6, 0);
    /* Moved to now, it is the newest. */
    engine_tank_wait(&w, MS_PER_MIN);
    assert_int_equal(correct(last_id(), Q_GH, 5, w.now.utc), STATUS_OK);
    assert_near(value(Q_GH).value, 5, 0);
}

static void a_withdrawn_test_brings_the_one_before_back(void **state)
{
    (void)state;
    assert_int_equal(engine_tank_test(&w, Q_GH, 6, (utc_t){ w.now.utc.ms - MS_PER_DAY }), STATUS_OK);
    int64_t first = last_id();
    assert_int_equal(engine_tank_test(&w, Q_GH, 10, UTC_NONE), STATUS_OK);
    int64_t second = last_id();
    engine_tank_wait(&w, 3 * MS_PER_MIN);
    assert_true(engine_tank_alert(&w, "tank/a1/gh-high").active);
    withdraw(second);
    assert_near(value(Q_GH).value, 6, 0);
    engine_tank_wait(&w, 6 * MS_PER_MIN);
    assert_false(engine_tank_alert(&w, "tank/a1/gh-high").active);
    assert_int_equal(engine_tank_test(&w, Q_GH, 11, UTC_NONE), STATUS_OK);
    int64_t third = last_id();
    engine_tank_wait(&w, 3 * MS_PER_MIN);
    assert_true(engine_tank_alert(&w, "tank/a1/gh-high").active);
    withdraw(first);
    assert_near(value(Q_GH).value, 11, 0);
    withdraw(third);
    assert_int_equal(value(Q_GH).origin, ORIGIN_NONE);
    engine_tank_wait(&w, 6 * MS_PER_MIN);
    assert_false(engine_tank_alert(&w, "tank/a1/gh-high").active);
}

static void what_the_store_knows_is_taken_once(void **state)
{
    (void)state;
    assert_int_equal(engine_tank_test(&w, Q_GH, 6, UTC_NONE), STATUS_OK);
    struct journal_entry known = w.fx.items[w.fx.count - 1].u.journal, older = known;
    engine_recall(w.engine, &known); /* the state had it already */
    older.id = 77;
    older.at.ms -= MS_PER_HOUR;
    older.items[0].amount = 5;
    engine_recall(w.engine, &older);
    assert_near(value(Q_GH).value, 6, 0);
    withdraw(known.id);
    assert_near(value(Q_GH).value, 5, 0);
    older.superseded_by = 80;
    engine_recall(w.engine, &older);
    assert_int_equal(value(Q_GH).origin, ORIGIN_NONE);
}

/* Random notes of one quantity, some corrected and withdrawn, against the plain definition: the newest that
 * counts (of the last few that were kept). */
static void the_newest_that_counts(void **state)
{
    (void)state;
    srand(11);
    for (int round = 0; round < 300; round++) {
        struct {
            int64_t id;
            int64_t t;
            double v;
        } all[4];
        int count = 0;
        for (int q = 0; q < 12; q++) {
            int64_t t = w.now.utc.ms - (int64_t)(rand() % 20) * MS_PER_DAY - q;
            int i = count > 0 ? rand() % count : 0;
            if (count > 0 && rand() % 3 == 0) {
                withdraw(all[i].id);
                all[i] = all[--count];
            } else if (count > 0 && rand() % 2 == 0) {
                assert_int_equal(correct(all[i].id, Q_KH, q, (utc_t){ t }), STATUS_OK);
                all[i].id = last_id();
                all[i].t = t;
                all[i].v = q;
            } else if (count < 4) {
                assert_int_equal(engine_tank_test(&w, Q_KH, q, (utc_t){ t }), STATUS_OK);
                all[count].id = last_id();
                all[count].t = t;
                all[count++].v = q;
            }
            int best = -1;
            for (int k = 0; k < count; k++)
                if (best < 0 || all[k].t > all[best].t)
                    best = k;
            struct value_report got = value(Q_KH);
            if (best < 0)
                assert_int_equal(got.origin, ORIGIN_NONE);
            else
                assert_near(got.value, all[best].v, 0);
        }
        while (count > 0)
            withdraw(all[--count].id);
    }
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_test_is_a_value_and_is_judged),
        TEST(a_speaking_probe_goes_before),
        TEST(old_tests_and_tests_of_the_future),
        TEST(kept_over_a_restart),
        TEST(a_correction_revises_value_and_alert),
        TEST(a_corrected_old_test_changes_nothing_now),
        TEST(a_withdrawn_test_brings_the_one_before_back),
        TEST(what_the_store_knows_is_taken_once),
        TEST(the_newest_that_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
