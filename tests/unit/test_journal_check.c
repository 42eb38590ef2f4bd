#include "journal_room.h"

#include "model/journal_check.h"

static struct journal_room room;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    journal_room_init(&room);
    return 0;
}

static enum status check(struct journal_entry *e)
{
    why.text[0] = '\0';
    return journal_check(&room.site, e, (utc_t){ NOON }, &why);
}

static void says(struct journal_entry e, const char *with)
{
    enum status st = check(&e);
    if (st == STATUS_OK || strstr(why.text, with) == NULL)
        fail_msg("%d: \"%s\", want \"%s\"", (int)st, why.text, with);
}

static void uncertainty_of_kits(void **state)
{
    bool known;
    (void)state;
    assert_near(journal_sd(&room.site, "drops-1", Q_GH, 6, &known), 0.3, 0);
    assert_true(known);
    assert_near(journal_sd(&room.site, "drops-1", Q_KH, 6, &known), 0.5, 0);
    assert_false(known);
    assert_near(journal_sd(&room.site, "strange", Q_NO3, 40, NULL), 10, 1e-12);
    assert_near(journal_sd(&room.site, "", Q_NO3, 2, NULL), 2.5, 1e-12);
    struct journal_entry e = journal_made(JOURNAL_TEST, "tank/a1");
    strcpy(e.kit, "drops-1");
    journal_with(&e, JOURNAL_VALUE, "gh", 6);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ph", 7, 0.05), STATUS_OK);
    assert_int_equal(check(&e), STATUS_OK);
    assert_near(journal_item(&e, JOURNAL_VALUE, "gh")->sd, 0.3, 0);
    assert_near(journal_item(&e, JOURNAL_VALUE, "ph")->sd, 0.05, 0);
}

static void tests_that_cannot_be(void **state)
{
    (void)state;
    struct journal_entry e = journal_made(JOURNAL_TEST, "tank/a1");
    says(e, "needs \"quantity\"");
    journal_with(&e, JOURNAL_VALUE, "ph", 71);
    says(e, "0 to 14");
    e = journal_made(JOURNAL_TEST, "tank/a1");
    journal_with(&e, JOURNAL_VALUE, "magic", 7);
    says(e, "no quantity");
    e = journal_made(JOURNAL_TEST, "");
    journal_with(&e, JOURNAL_VALUE, "ph", 7);
    says(e, "needs a place");
    snprintf(e.place, sizeof e.place, "tank/zz");
    says(e, "no place");
    e = journal_made(JOURNAL_TEST, "tank/a1");
    journal_with(&e, JOURNAL_HEAD, "dead", 7);
    says(e, "note that as animals");
    e = journal_made(JOURNAL_TEST, "tank/a1");
    journal_with(&e, JOURNAL_VALUE, "ph", 7);
    e.at.ms = NOON + 3 * MS_PER_MIN;
    assert_int_equal(check(&e), STATUS_REFUSED);
    e.at.ms = NOON + MS_PER_MIN;
    assert_int_equal(check(&e), STATUS_OK);
}

static void work_that_cannot_be(void **state)
{
    (void)state;
    struct journal_entry e = journal_made(JOURNAL_CHANGE, "room");
    says(e, "needs a tank");
    e = journal_made(JOURNAL_CHANGE, "tank/a1");
    e.litres = 31;
    says(e, "more than tank a1 holds");
    e.litres = 30;
    assert_int_equal(check(&e), STATUS_OK);
    strcpy(e.water, "hrad");
    says(e, "no water");
    e = journal_made(JOURNAL_BATCH, "");
    says(e, "needs the \"water\"");
    strcpy(e.water, "soft");
    assert_int_equal(check(&e), STATUS_OK);
    assert_string_equal(e.place, "water/soft");
    journal_with(&e, JOURNAL_SALT, "hrad", 5);
    e.litres = 10;
    says(e, "did you mean \"hard\"");
    e = journal_made(JOURNAL_BATCH, "water/soft");
    journal_with(&e, JOURNAL_SALT, "hard", 5);
    says(e, "needs its \"litres\"");
    assert_string_equal(e.water, "");
    e.litres = 10;
    assert_int_equal(check(&e), STATUS_OK);
    assert_string_equal(e.water, "soft");
    e = journal_made(JOURNAL_ANIMALS, "tank/a1");
    says(e, "say how many");
    journal_with(&e, JOURNAL_HEAD, "dead", 1.5);
    says(e, "whole number");
    says(journal_made(JOURNAL_REMARK, ""), "needs its \"text\"");
    says(journal_made(JOURNAL_KIND_COUNT, ""), "needs \"what\"");
    says(journal_made(JOURNAL_LEARNT, ""), "learnt figure");
}

static void a_correction_says_only_what_was_wrong(void **state)
{
    (void)state;
    struct journal_entry old = journal_made(JOURNAL_TEST, "tank/a1"), fix;
    old.id = 12;
    strcpy(old.kit, "drops-1");
    strcpy(old.text, "after feeding");
    journal_with(&old, JOURNAL_VALUE, "gh", 6);
    journal_with(&old, JOURNAL_VALUE, "kh", 3);
    assert_int_equal(check(&old), STATUS_OK);
    journal_clear(&fix);
    fix.id = 15;
    fix.corrects = 12;
    journal_with(&fix, JOURNAL_VALUE, "gh", 5);
    strcpy(fix.who, "Ada");
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_OK);
    assert_int_equal(fix.kind, JOURNAL_TEST);
    assert_int_equal(fix.id, 15);
    assert_int_equal(fix.corrects, 12);
    assert_int_equal(fix.at.ms, NOON);
    assert_near(journal_amount(&fix, JOURNAL_VALUE, "gh"), 5, 0);
    assert_near(journal_amount(&fix, JOURNAL_VALUE, "kh"), 3, 0);
    assert_string_equal(fix.text, "after feeding");
    assert_string_equal(fix.place, "tank/a1");
    assert_string_equal(fix.who, "Ada");
    assert_int_equal(check(&fix), STATUS_OK);
    assert_near(journal_item(&fix, JOURNAL_VALUE, "gh")->sd, 0.3, 0);
    journal_clear(&fix);
    strcpy(fix.kit, "another");
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_OK);
    assert_int_equal(check(&fix), STATUS_OK);
    assert_near(journal_item(&fix, JOURNAL_VALUE, "gh")->sd, 0.5, 0);
}

static void what_cannot_be_corrected(void **state)
{
    (void)state;
    struct journal_entry old = journal_made(JOURNAL_CHANGE, "tank/a1"),
                         fix = journal_made(JOURNAL_TOPOFF, "");
    old.id = 12;
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "is a change, not a topoff"));
    journal_clear(&fix);
    fix.id = 16;
    old.superseded_by = 15;
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "corrected already"));
    fix.id = 15; /* the very correction, run again after a restart */
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_OK);
    old.superseded_by = 0;
    old.withdrawn = (utc_t){ NOON };
    journal_clear(&fix);
    fix.id = 16;
    assert_int_equal(journal_amend(&fix, &old, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "withdrawn"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = {
        TEST(uncertainty_of_kits),      TEST(tests_that_cannot_be),
        TEST(work_that_cannot_be),      TEST(a_correction_says_only_what_was_wrong),
        TEST(what_cannot_be_corrected),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
