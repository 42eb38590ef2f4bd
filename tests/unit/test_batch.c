/* Batches worked by hand: how far off, what to add so that the mass balance comes out, what is said. */
#include "journal_room.h"

#include "plan/batch.h"

static struct journal_room room;
static struct batch_check check;
static char buf[1024];

static int set_up(void **state)
{
    (void)state;
    journal_room_init(&room);
    room.waters[0].blend = -1;
    return 0;
}

/* 60 L of soft water with 9 g of hard (30 GH) and 3 g of soda (30 KH): 4.5 GH, 1.5 KH, 245. */
static struct journal_entry batch(double ec, double gh, double kh)
{
    struct journal_entry e = journal_made(JOURNAL_BATCH, "water/soft");
    snprintf(e.water, sizeof e.water, "soft");
    e.id = 7;
    e.litres = 60;
    journal_with(&e, JOURNAL_SALT, "hard", 9);
    journal_with(&e, JOURNAL_SALT, "soda", 3);
    if (!isnan(ec))
        assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ec", ec, 4), STATUS_OK);
    if (!isnan(gh))
        assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", gh, 0.1), STATUS_OK);
    if (!isnan(kh))
        assert_int_equal(journal_put(&e, JOURNAL_VALUE, "kh", kh, 0.1), STATUS_OK);
    return e;
}

static const char *words(void)
{
    struct text out = text_over(buf, sizeof buf);
    batch_words(&room.site, &check, &out);
    return buf;
}

static void as_it_should_be(void **state)
{
    (void)state;
    struct journal_entry e = batch(247, NAN, NAN);
    struct text out = text_over(buf, sizeof buf);
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_true(check.measured && !check.off && !check.corrected && !check.doubtful_mix);
    assert_non_null(strstr(words(), "as it should be"));
    assert_false(batch_used_words(&room.site, &e, &out));
}

/* 294 of 245: a fifth more water. */
static void too_strong(void **state)
{
    (void)state;
    struct journal_entry e = batch(294, NAN, NAN);
    struct text out = text_over(buf, sizeof buf);
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_true(check.off && check.corrected && check.doubtful_mix);
    assert_near(check.add_l, 12, 1e-9);
    assert_int_equal(check.add_count, 0);
    assert_near(294 * 60 / (60 + check.add_l), 245, 1e-9);
    assert_non_null(strstr(words(), "20 % too strong"));
    assert_non_null(strstr(buf, "look at scale and litres\n"));
    assert_non_null(strstr(buf, "lentic note --correct"));
    out = text_over(buf, sizeof buf);
    assert_true(batch_used_words(&room.site, &e, &out));
    assert_non_null(strstr(buf, "lentic note --batch 7"));
}

static void too_weak(void **state)
{
    (void)state;
    struct journal_entry e = batch(196, NAN, NAN);
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_true(check.corrected);
    assert_near(check.add_l, 0, 0);
    assert_near(check.add[0].grams, 0.15 * 60 * 0.2, 1e-9);
    assert_non_null(strstr(words(), "and for a damp jar"));
}

/* By the hardness: KH 2 of 1.5 takes 20 L of water; what that thins of the GH is made good by salt. */
static void by_the_hardness(void **state)
{
    (void)state;
    struct journal_entry e = batch(NAN, 4.5, 2.0);
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_true(check.corrected);
    assert_near(check.add_l, 20, 1e-9);
    double gh = 4.5 * 60, kh = 2.0 * 60;
    for (int i = 0; i < check.add_count; i++) {
        gh += check.add[i].grams * (check.add[i].salt == 0 ? 30 : 0);
        kh += check.add[i].grams * (check.add[i].salt == 1 ? 30 : 0);
    }
    assert_near(gh / 80, 4.5, 1e-6);
    assert_near(kh / 80, 1.5, 1e-6);
}

static void within_what_a_test_can_tell(void **state)
{
    (void)state;
    struct journal_entry e = batch(NAN, 4.8, NAN);
    e.items[2].sd = 0.3;
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_false(check.off);
    assert_non_null(strstr(words(), "no further off than such a test may be"));
}

/* What tap water brought along is not known: the weights tell nothing. */
static void made_from_tap(void **state)
{
    (void)state;
    struct source tap = { .place = 2, .kind = SOURCE_TAP, .feed = -1 };
    struct journal_entry e = batch(400, NAN, NAN);
    room.site.sources = &tap;
    room.site.source_count = 1;
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_OK);
    assert_true(check.off && isnan(check.by_weight) && !check.doubtful_mix);
    e.kind = JOURNAL_TEST;
    assert_int_equal(batch_check(&room.site, &e, &check), STATUS_NONE);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = { TEST(as_it_should_be),
                                        TEST(too_strong),
                                        TEST(too_weak),
                                        TEST(by_the_hardness),
                                        TEST(within_what_a_test_can_tell),
                                        TEST(made_from_tap) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
