#include "journal_room.h"

#include "model/learnt.h"

static struct journal_room room;

static struct journal_entry figure(const char *salt, const char *water, const char *name, double v)
{
    struct journal_entry e = journal_made(JOURNAL_LEARNT, "");
    snprintf(e.other, sizeof e.other, "%s", salt);
    snprintf(e.water, sizeof e.water, "%s", water);
    journal_with(&e, JOURNAL_FIGURE, name, v);
    return e;
}

static void taken_and_taken_back(void **state)
{
    (void)state;
    journal_room_init(&room);
    struct journal_entry ec = figure("hard", "", "ec", 1180), tds = figure("", "soft", "tds", 0.62);
    learnt_begin(&room.site);
    assert_true(learnt_apply(&room.site, &ec));
    assert_true(learnt_apply(&room.site, &tds));
    assert_near(room.salts[0].ec, 1180, 0);
    assert_near(room.salts[0].gh, 30, 0);
    assert_near(room.waters[0].tds_per_ec, 0.62, 0);
    learnt_begin(&room.site); /* withdrawn: begun again without it */
    assert_true(learnt_apply(&room.site, &ec));
    assert_near(room.salts[0].ec, 1180, 0);
    assert_true(isnan(room.waters[0].tds_per_ec));
    learnt_begin(&room.site);
    learnt_begin(&room.site);
    assert_near(room.salts[0].ec, 1300, 0);
}

static void what_is_not_believed(void **state)
{
    (void)state;
    journal_room_init(&room);
    learnt_begin(&room.site);
    struct journal_entry e = figure("gone", "", "ec", 1180);
    assert_false(learnt_apply(&room.site, &e));
    e = figure("hard", "", "magic", 1180);
    assert_false(learnt_apply(&room.site, &e));
    e = figure("hard", "", "ec", 99999);
    assert_false(learnt_apply(&room.site, &e));
    e = figure("", "soft", "tds", 5);
    assert_false(learnt_apply(&room.site, &e));
    e = figure("hard", "", "ec", 1180);
    e.superseded_by = 9;
    assert_false(learnt_apply(&room.site, &e));
    assert_near(room.salts[0].ec, 1300, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(taken_and_taken_back),
                                        cmocka_unit_test(what_is_not_believed) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
