/* What a plan reads out of the journal. */
#include "week_room.h"

static struct journal_entry entry(enum journal_kind kind, const char *place, double age_d)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = kind;
    e.id = 1;
    e.at = (utc_t){ SUNDAY - DAYS(age_d) };
    (void)snprintf(e.place, sizeof e.place, "%s", place);
    return e;
}

static void the_newest_change_in_any_order(void **state)
{
    (void)state;
    note(JOURNAL_CHANGE, "tank/a1", DAYS(3), 2);
    note(JOURNAL_CHANGE, "tank/a1", DAYS(1), 4);
    note(JOURNAL_CHANGE, "tank/a1", DAYS(2), 3);
    note(JOURNAL_CHANGE, "tank/zz", DAYS(0), 9);
    note(JOURNAL_CHANGE, "tank/a1", -DAYS(1), 5); /* of the future: not believed */
    assert_int_equal(r.diary_tanks[0].changed.ms, SUNDAY - DAYS(1));
    near(r.diary_tanks[0].changed_l, 4, 0);
    assert_false(utc_is_set(r.diary_tanks[1].changed));
}

static void what_no_longer_counts(void **state)
{
    (void)state;
    struct journal_entry e = entry(JOURNAL_CHANGE, "tank/a1", 1);
    e.superseded_by = 7;
    diary_take(&r.diary, &e);
    e.superseded_by = 0;
    e.withdrawn = (utc_t){ SUNDAY };
    diary_take(&r.diary, &e);
    assert_false(utc_is_set(r.diary_tanks[0].changed));
}

static void two_tests_in_any_order(void **state)
{
    (void)state;
    static const double ages[] = { 9, 2, 5 };
    for (int i = 0; i < 3; i++) {
        struct journal_entry e = entry(JOURNAL_TEST, "tank/a1", ages[i]);
        assert_int_equal(journal_put(&e, JOURNAL_VALUE, "no3", 10 * ages[i], NAN), STATUS_OK);
        diary_take(&r.diary, &e);
    }
    const struct diary_test *t = &r.diary_tanks[0].tests[Q_NO3];
    near(t->value, 20, 0);
    near(t->before, 50, 0);
    assert_int_equal(t->t_before.ms, SUNDAY - DAYS(5));
}

/* 0.8 L every second day; the oldest made good what fell before. */
static void litres_a_day(void **state)
{
    (void)state;
    for (int i = 1; i <= 4; i++) {
        assert_true(i > 3 || isnan(diary_topoff_l_day(&r.diary, 0)));
        note(JOURNAL_TOPOFF, "tank/a1", DAYS(2 * i), 0.8);
    }
    near(diary_topoff_l_day(&r.diary, 0), 0.4, 1e-9);
    note(JOURNAL_TOPOFF, "tank/a1", DAYS(DIARY_TOPOFF_DAYS + 1), 50);
    near(diary_topoff_l_day(&r.diary, 0), 0.4, 1e-9);
    assert_true(isnan(diary_topoff_l_day(&r.diary, 1)));
    assert_true(isnan(diary_salt_g_day(&r.diary, 0)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(the_newest_change_in_any_order, week_room_init),
        cmocka_unit_test_setup(what_no_longer_counts, week_room_init),
        cmocka_unit_test_setup(two_tests_in_any_order, week_room_init),
        cmocka_unit_test_setup(litres_a_day, week_room_init),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
