/* Colonies made up, with known answers by hand. */
#include "journal_room.h"

#include "plan/colony.h"

static struct journal_entry entries[32];
static int count;
static struct colony_move moves[8];
static struct colony colony;

static int set_up(void **state)
{
    (void)state;
    count = 0;
    return 0;
}

static struct journal_entry *on_day(double day)
{
    entries[count] = journal_made(JOURNAL_ANIMALS, "tank/a1");
    entries[count].at = (utc_t){ NOON + (int64_t)(day * (double)MS_PER_DAY) };
    return &entries[count++];
}

static utc_t day(double d)
{
    return (utc_t){ NOON + (int64_t)(d * (double)MS_PER_DAY) };
}

static void heads_add_up(void **state)
{
    (void)state;
    journal_with(on_day(0), JOURNAL_HEAD, "dead", 3); /* before the first count */
    journal_with(on_day(1), JOURNAL_HEAD, "adults", 40);
    journal_with(on_day(5), JOURNAL_HEAD, "in", 10);
    journal_with(on_day(6), JOURNAL_HEAD, "dead", 2);
    journal_with(on_day(7), JOURNAL_HEAD, "out", 5);
    journal_with(on_day(8), JOURNAL_HEAD, "born", 20);
    journal_with(on_day(9), JOURNAL_HEAD, "shrimplets", 15);
    colony_eval(entries, count, NULL, 0, "", NAN, day(30), &colony);
    assert_true(colony.counted);
    assert_near(colony.adults, 43, 0);
    assert_near(colony.shrimplets, 15, 0);
    assert_near(colony.dead, 5, 0);
    assert_near(colony.born, 20, 0);
    assert_near(colony.days, 30, 1e-9);
    assert_true(isnan(colony.berried));
}

static void deaths_after_a_step(void **state)
{
    (void)state;
    moves[0] = (struct colony_move){ day(10), "+62 µS/cm step", false };
    moves[1] = (struct colony_move){ day(40), "-15 µS/cm step", false };
    journal_with(on_day(0), JOURNAL_HEAD, "adults", 40);
    journal_with(on_day(11), JOURNAL_HEAD, "dead", 4);
    journal_with(on_day(12.9), JOURNAL_HEAD, "dead", 2);
    journal_with(on_day(13.1), JOURNAL_HEAD, "dead", 1); /* too late for the step */
    journal_with(on_day(41), JOURNAL_HEAD, "dead", 1);   /* one is none */
    colony_eval(entries, count, moves, 2, "", NAN, day(66), &colony);
    assert_int_equal(colony.coincidence_count, 1);
    assert_near(colony.coincidences[0].deaths, 6, 0);
    assert_ptr_equal(colony.coincidences[0].move, &moves[0]);
    assert_near(colony.coincidences[0].usual, 1.0 * 3 / 60, 1e-9); /* one in 66 - 2 * 3 days */
}

static void what_always_dies_is_no_coincidence(void **state)
{
    (void)state;
    moves[0] = (struct colony_move){ day(10.5), "+62 µS/cm step", false };
    for (int i = 0; i < 20; i++)
        journal_with(on_day(i), JOURNAL_HEAD, "dead", 1);
    colony_eval(entries, count, moves, 1, "", NAN, day(20), &colony);
    assert_int_equal(colony.coincidence_count, 0);
}

static void eggs_seen_between_two_counts(void **state)
{
    (void)state;
    journal_with(on_day(0), JOURNAL_HEAD, "berried", 0);
    journal_with(on_day(4), JOURNAL_HEAD, "berried", 3);
    colony_eval(entries, count, NULL, 0, "neocaridina-davidi", 24, day(5), &colony);
    double d = 224 / (24 - 13.3);
    assert_int_equal(colony.brood_count, 1);
    assert_near(colony.broods[0].females, 3, 0);
    assert_true(colony.broods[0].bounded);
    assert_near((double)(colony.broods[0].early.ms - day(0.76 * d).ms), 0, 1000);
    assert_near((double)(colony.broods[0].likely.ms - day(2 + d).ms), 0, 1000);
    assert_near((double)(colony.broods[0].late.ms - day(4 + 1.24 * d).ms), 0, 1000);
    /* Past it, nothing is promised any more. */
    colony_eval(entries, count, NULL, 0, "neocaridina-davidi", 24, day(40), &colony);
    assert_int_equal(colony.brood_count, 0);
}

/* Usual changes stand on the line; deaths after them are deaths as always. */
static void what_stands_aside(void **state)
{
    (void)state;
    moves[0] = (struct colony_move){ day(10), "change of 6 L", true };
    moves[1] =
        (struct colony_move){ day(20), "change of 6 L, batch 4, which was not as it should be", false };
    journal_with(on_day(0), JOURNAL_HEAD, "adults", 40);
    journal_with(on_day(11), JOURNAL_HEAD, "dead", 2);
    journal_with(on_day(21), JOURNAL_HEAD, "dead", 3);
    colony_eval(entries, count, moves, 2, "", NAN, day(63), &colony);
    assert_int_equal(colony.coincidence_count, 1);
    assert_ptr_equal(colony.coincidences[0].move, &moves[1]);
    assert_near(colony.coincidences[0].usual, 2 * 3 / 60.0, 1e-9);
}

/* Three carried, then two more; then one: those that carried first have hatched. */
static void fewer_that_carry(void **state)
{
    (void)state;
    journal_with(on_day(0), JOURNAL_HEAD, "berried", 3);
    journal_with(on_day(8), JOURNAL_HEAD, "berried", 5);
    journal_with(on_day(14), JOURNAL_HEAD, "berried", 1);
    colony_eval(entries, count, NULL, 0, "neocaridina-davidi", 24, day(15), &colony);
    assert_int_equal(colony.brood_count, 1);
    assert_near(colony.broods[0].females, 1, 0);
    assert_int_equal(colony.broods[0].seen.ms, day(8).ms);
    journal_with(on_day(16), JOURNAL_HEAD, "berried", 0);
    colony_eval(entries, count, NULL, 0, "neocaridina-davidi", 24, day(17), &colony);
    assert_int_equal(colony.brood_count, 0);
}

static void eggs_seen_for_the_first_time(void **state)
{
    (void)state;
    journal_with(on_day(4), JOURNAL_HEAD, "berried", 2);
    colony_eval(entries, count, NULL, 0, "caridina-logemanni", 23, day(5), &colony);
    assert_int_equal(colony.brood_count, 1);
    assert_false(colony.broods[0].bounded);
    assert_int_equal(colony.broods[0].early.ms, day(4).ms); /* any day now */
    assert_true(colony.broods[0].late.ms > day(4 + 30).ms);
    colony_eval(entries, count, NULL, 0, "cambarellus-diminutus", 23, day(5), &colony);
    assert_int_equal(colony.brood_count, 0);
    assert_non_null(strstr(colony.no_forecast.text, "not known here"));
    colony_eval(entries, count, NULL, 0, "caridina-logemanni", NAN, day(5), &colony);
    assert_non_null(strstr(colony.no_forecast.text, "temperature"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = { TEST(heads_add_up),
                                        TEST(deaths_after_a_step),
                                        TEST(what_always_dies_is_no_coincidence),
                                        TEST(eggs_seen_between_two_counts),
                                        TEST(what_stands_aside),
                                        TEST(fewer_that_carry),
                                        TEST(eggs_seen_for_the_first_time) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
