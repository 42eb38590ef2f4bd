/* Batches of made-up salts whose true strength is known; estimates by hand beside each. */
#include "journal_room.h"

#include "plan/learn.h"

static struct journal_room room;
static struct journal_entry batches[64];
static int count;
static struct learn_result result;

static int set_up(void **state)
{
    (void)state;
    journal_room_init(&room);
    count = 0;
    return 0;
}

static struct journal_entry *batch(double litres, double hard_g, double soda_g)
{
    struct journal_entry *e = &batches[count];
    *e = journal_made(JOURNAL_BATCH, "water/soft");
    e->id = ++count;
    e->litres = litres;
    strcpy(e->water, "soft");
    if (hard_g > 0)
        journal_with(e, JOURNAL_SALT, "hard", hard_g);
    if (soda_g > 0)
        journal_with(e, JOURNAL_SALT, "soda", soda_g);
    return e;
}

static void measured(struct journal_entry *e, const char *q, double v, double sd)
{
    assert_int_equal(journal_put(e, JOURNAL_VALUE, q, v, sd), STATUS_OK);
}

static const struct learn_proposal *found(int salt, const char *figure)
{
    learn_eval(&room.site, batches, count, &result);
    for (int i = 0; i < result.count; i++)
        if (result.items[i].salt == salt && strcmp(result.items[i].figure, figure) == 0)
            return &result.items[i];
    return NULL;
}

static void a_damp_jar(void **state)
{
    static const double ec[] = { 176, 175, 177, 174, 176 }; /* 0.15 g/L: 1300 would give 195 */
    (void)state;
    for (int i = 0; i < 2; i++)
        measured(batch(60, 9, 0), "ec", ec[i], 2);
    assert_null(found(0, "ec"));
    for (int i = 2; i < 5; i++)
        measured(batch(60, 9, 0), "ec", ec[i], 2);
    const struct learn_proposal *p = found(0, "ec");
    assert_non_null(p);
    assert_near(p->learnt, 176 / 0.15, 1e-9);
    assert_near(p->now, 1300, 1e-9);
    assert_int_equal(p->n, 5);
    assert_near(p->spread, 1.4826 * (1 / 0.15), 1e-9);
    assert_near(p->sd, hypot(p->spread / sqrt(5), 2 / 0.15), 1e-9);
    assert_true(p->differs);
    assert_int_equal(p->batches[4], 5);
    char buf[256];
    struct text out = text_over(buf, sizeof buf);
    learn_words(&room.site, p, &out);
    assert_string_equal(
        buf, "hard: 1 g/L adds 1173 µS/cm, not 1300 (10 % less): 5 batches, spread 0.8 %, good to ± 14");
}

static void as_on_the_jar(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++)
        measured(batch(60, 9, 0), "ec", 194 + i, 4);
    const struct learn_proposal *p = found(0, "ec");
    assert_non_null(p);
    assert_false(p->differs);
}

static void salts_told_apart_by_hardness(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++) {
        struct journal_entry *e = batch(60, 9, 3);
        measured(e, "ec", 220, 4);
        measured(e, "gh", 4.05, 0.1); /* 27 instead of 30 per g/L */
        measured(e, "kh", 1.5, 0.1);
    }
    assert_null(found(0, "ec"));
    assert_null(found(1, "ec"));
    assert_int_equal(result.mixed, 3);
    const struct learn_proposal *gh = found(0, "gh");
    assert_near(gh->learnt, 27, 1e-9);
    assert_near(found(1, "kh")->learnt, 30, 1e-9);
    assert_false(found(1, "kh")->differs);
}

static void solids_by_weight(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++)
        measured(batch(60, 9, 3), "ec", 250, 3);
    learn_eval(&room.site, batches, count, &result);
    const struct learn_proposal *p = &result.items[result.count - 1];
    assert_int_equal(p->water, 0);
    assert_near(p->learnt, (0.15 * 800 + 0.05 * 700) / 250, 1e-12);
    assert_true(p->differs);
    struct journal_entry e;
    learn_entry(&room.site, p, &e);
    assert_string_equal(e.water, "soft");
    assert_near(journal_amount(&e, JOURNAL_FIGURE, "tds"), p->learnt, 0);
    assert_string_equal(e.text, "3 batches, spread 0.5 %, the last ones 1 2 3");
}

static void what_teaches_nothing(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++) {
        struct journal_entry *e = batch(60, 9, 0);
        measured(e, "ec", 176, 2);
        if (i == 0)
            e->superseded_by = 99;
        if (i == 1)
            e->litres = NAN;
        if (i == 2)
            journal_with(e, JOURNAL_SALT, "gone", 4);
    }
    batch(60, 0, 0);
    learn_eval(&room.site, batches, count, &result);
    assert_int_equal(result.count, 0);
}

/* Whatever the true strength, the noise and the size of the batches, it is found within its uncertainty. */
static void random_jars(void **state)
{
    int within = 0;
    (void)state;
    srand(5);
    for (int round = 0; round < 400; round++) {
        double truth = 700 + rand() % 1200;
        count = 0;
        for (int i = 0; i < 12; i++) {
            double litres = 20 + rand() % 80, g_per_l = 0.1 + 0.2 * (rand() % 100) / 100;
            double noise = 1 + 0.02 * ((rand() % 2001) / 1000.0 - 1);
            measured(batch(litres, g_per_l * litres, 0), "ec", truth * g_per_l * noise,
                     0.01 * truth * g_per_l);
        }
        const struct learn_proposal *p = found(0, "ec");
        within += fabs(p->learnt - truth) <= 2 * p->sd;
    }
    assert_true(within >= 390);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = {
        TEST(a_damp_jar),       TEST(as_on_the_jar),        TEST(salts_told_apart_by_hardness),
        TEST(solids_by_weight), TEST(what_teaches_nothing), TEST(random_jars)
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
