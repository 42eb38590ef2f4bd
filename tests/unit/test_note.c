/* What a keeper types. */
#include "journal_room.h"

#include "cli/note.h"

static struct journal_room room;
static struct note_typed typed;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    journal_room_init(&room);
    memset(&typed, 0, sizeof typed);
    return 0;
}

/* Splits at blanks, as a shell does. */
static enum status type(const char *line)
{
    static char copy[512];
    const char *words[64];
    int count = 0;
    snprintf(copy, sizeof copy, "%s", line);
    for (char *word = strtok(copy, " "); word != NULL; word = strtok(NULL, " "))
        words[count++] = word;
    why.text[0] = '\0';
    return note_words(&room.site, words, count, &typed, &why);
}

static void accept(const char *line, enum journal_kind kind, int places)
{
    if (type(line) != STATUS_OK)
        fail_msg("%s: %s", line, why.text);
    if (typed.entry.kind != kind || typed.place_count != places)
        fail_msg("%s: a %d in %d places", line, (int)typed.entry.kind, typed.place_count);
}

static void refuse(const char *line, const char *with)
{
    enum status st = type(line);
    if (st != STATUS_INVALID || strstr(why.text, with) == NULL)
        fail_msg("%s says \"%s\", want \"%s\"", line, why.text, with);
}

static double figure(enum journal_role role, const char *name)
{
    return journal_amount(&typed.entry, role, name);
}

static void tests(void **state)
{
    (void)state;
    accept("a1 test gh=6 kh=3 kit=drops-1 lot=2291", JOURNAL_TEST, 1);
    assert_near(figure(JOURNAL_VALUE, "gh"), 6, 0);
    assert_string_equal(typed.entry.kit, "drops-1");
    assert_string_equal(typed.entry.lot, "2291");
    accept("a1 no3=10+-2.5 ec=0.38mS/cm temp=75.2F after lights out", JOURNAL_TEST, 1);
    assert_near(figure(JOURNAL_VALUE, "ec"), 380, 1e-9);
    assert_near(figure(JOURNAL_VALUE, "temp"), 24, 1e-9);
    assert_near(journal_item(&typed.entry, JOURNAL_VALUE, "no3")->sd, 2.5, 0);
    assert_string_equal(typed.entry.text, "after lights out");
    accept("source/ro ec=8", JOURNAL_TEST, 1);
    accept("ro ec=8±1", JOURNAL_TEST, 1);
    assert_near(journal_item(&typed.entry, JOURNAL_VALUE, "ec")->sd, 1, 0);
}

static void work(void **state)
{
    (void)state;
    accept("a1 a2 change 6L", JOURNAL_CHANGE, 2);
    assert_near(typed.entry.litres, 6, 1e-12);
    accept("a1,a2,b1 change 6", JOURNAL_CHANGE, 3);
    accept("rack/a change 1.5gal batch=12", JOURNAL_CHANGE, 2);
    assert_near(typed.entry.litres, 5.678, 0.001);
    assert_int_equal(typed.entry.batch, 12);
    accept("a1 change 6L soft", JOURNAL_CHANGE, 1);
    assert_string_equal(typed.entry.water, "soft");
    accept("a1 topoff litres=0.8", JOURNAL_TOPOFF, 1);
    accept("soft batch 60L hard=9 soda=0.003kg ec=250", JOURNAL_BATCH, 1);
    assert_near(figure(JOURNAL_SALT, "soda"), 3, 1e-12);
    assert_near(figure(JOURNAL_VALUE, "ec"), 250, 0);
    assert_string_equal(typed.entry.water, "soft");
    accept("soft 60L hard=9g", JOURNAL_BATCH, 1);
    accept("a1 fed 200mg spinach leaf", JOURNAL_FEEDING, 1);
    assert_near(typed.entry.grams, 0.2, 1e-12);
    assert_string_equal(typed.entry.text, "spinach leaf");
    accept("a1 fed 0.3", JOURNAL_FEEDING, 1);
    assert_near(typed.entry.grams, 0.3, 1e-12);
}

static void animals_and_remarks(void **state)
{
    (void)state;
    accept("a1 40 adults 25 shrimplets 3 berried", JOURNAL_ANIMALS, 1);
    assert_near(figure(JOURNAL_HEAD, "adults"), 40, 0);
    assert_near(figure(JOURNAL_HEAD, "berried"), 3, 0);
    accept("a1 2 died after the change", JOURNAL_ANIMALS, 1);
    assert_near(figure(JOURNAL_HEAD, "dead"), 2, 0);
    assert_string_equal(typed.entry.text, "after the change");
    accept("a1 in=10 from=b1", JOURNAL_ANIMALS, 1);
    assert_string_equal(typed.entry.other, "b1");
    accept("a1 saw 3 berried on the moss, gh=6 perhaps", JOURNAL_REMARK, 1);
    assert_string_equal(typed.entry.text, "3 berried on the moss, gh=6 perhaps");
    accept("a1 cleaned 2 sponges", JOURNAL_CLEANING, 1);
    accept("remark power was off at noon", JOURNAL_REMARK, 0);
    accept("a1 all is well", JOURNAL_REMARK, 1);
}

static void what_is_not_understood(void **state)
{
    (void)state;
    refuse("a1 gn=6", "did you mean \"gh=\"");
    refuse("a1 gh=six", "six");
    refuse("a1 gh=", "needs a value");
    refuse("a1 gh=6+-x", "behind ±");
    refuse("a1 dead=many", "no number of animals");
    refuse("a1 change 6L batch=x", "number of the batch");
    refuse("soft batch 60L hard=lots", "no grams");
    refuse("a1 5", "what are the 5");
    refuse("a1 6L", "say what it is");
    refuse("a1", "say what it is");
    refuse("zz gh=6", "no place and no kind");
    refuse("chagne a1 6L", "did you mean \"change\"");
}

static void a_correction_needs_no_kind(void **state)
{
    (void)state;
    typed.entry.corrects = 12;
    accept("gh=5", JOURNAL_KIND_COUNT, 0);
    assert_int_equal(typed.entry.corrects, 12);
    accept("a2", JOURNAL_KIND_COUNT, 1);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest all[] = { TEST(tests), TEST(work), TEST(animals_and_remarks),
                                      TEST(what_is_not_understood), TEST(a_correction_needs_no_kind) };
    return cmocka_run_group_tests(all, NULL, NULL);
}
