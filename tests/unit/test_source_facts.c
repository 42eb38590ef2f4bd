/* Source water worked by hand: what is held back, when a unit is worn out, what a blend brings along, what to
 * beware of. */
#include "week_room.h"

#include "plan/source_facts.h"

enum { RO, TAP, RAIN };

static struct source_water w;
static struct week_remark remarks[WEEK_REMARKS_MAX];
static int count;

static int room(void **state)
{
    (void)week_room_init(state);
    r.places[7] = (struct place){ PLACE_SOURCE, "tap", "source/tap", "tap water", -1 };
    r.places[8] = (struct place){ PLACE_SOURCE, "rain", "source/rain", "rain", -1 };
    r.sources[RO].feed = 7;
    r.sources[TAP] = (struct source){ 7, NAN, NAN, SOURCE_TAP, DISINFECTANT_UNKNOWN, -1, NAN };
    r.sources[RAIN] = (struct source){ 8, NAN, 50, SOURCE_RAIN, DISINFECTANT_UNKNOWN, -1, NAN };
    r.site.source_count = 3;
    r.site.place_count = 9;
    diary_init(&r.diary);
    return 0;
}

static void test_of(const char *place, double age_d, const char *quantity, double value, double sd)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = JOURNAL_TEST;
    e.id = 1;
    e.at = e.written = (utc_t){ SUNDAY - DAYS(age_d) };
    (void)snprintf(e.place, sizeof e.place, "%s", place);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, quantity, value, sd), STATUS_OK);
    diary_take(&r.diary, &e);
}

static void look(int source)
{
    source_facts_eval(&r.site, source, &r.diary, &w);
    count = 0;
    source_facts_remarks(&r.site, &w, remarks, &count);
}

static void probe(double ec, double per_day, double sd, double span_d)
{
    struct source_live *live = &r.diary_sources[RO].live;
    *live = SOURCE_LIVE_NONE;
    live->ec = value_made(ORIGIN_PROBE, ec, 0);
    live->trend = (struct source_trend){ per_day, sd, span_d };
}

static void nothing_is_known(void **state)
{
    (void)state;
    look(RO);
    assert_int_equal(w.values[Q_EC].origin, ORIGIN_NONE);
    assert_true(isnan(w.rejection) && isnan(w.trend.per_day));
    assert_int_equal(w.wear, SOURCE_WEAR_UNKNOWN);
    assert_false(utc_is_set(w.exhausted));
    assert_int_equal(count, 0);
}

/* 10 of 500: 98 %; sd by both: 0.5/500 and 10 x 10/500^2. */
static void what_is_held_back(void **state)
{
    (void)state;
    test_of("source/tap", 3, "ec", 500, 10);
    look(RO);
    assert_true(isnan(w.rejection));
    near(w.feed_ec, 500, 0);
    test_of("source/ro", 1, "ec", 10, 0.5);
    look(RO);
    near(w.rejection, 0.98, 1e-12);
    near(w.rejection_sd, hypot(0.5 / 500, 10 * 10.0 / 250000), 1e-12);
    assert_int_equal(w.feed_t.ms, SUNDAY - DAYS(3));
    look(TAP);
    assert_true(isnan(w.rejection)); /* nothing purifies it */
    assert_true(isnan(w.exhausted_ec));
}

static void more_than_its_feed(void **state)
{
    (void)state;
    test_of("source/tap", 3, "ec", 10, 1);
    test_of("source/ro", 1, "ec", 20, 1);
    look(RO);
    assert_true(isnan(w.rejection));
    assert_non_null(strstr(remarks[0].text, "are the two probes or tests exchanged?"));
}

/* (30 - 10) / 0.25 = 80 days; with 0.25 +- 1.28 x 0.05: 20 / 0.314 and 20 / 0.186. */
static void the_date_with_its_spread(void **state)
{
    (void)state;
    probe(10, 0.25, 0.05, 14);
    look(RO);
    assert_int_equal(w.wear, SOURCE_WEARING);
    near((double)(w.exhausted.ms - SUNDAY) / DAYS(1), 80, 1e-6);
    near((double)(w.early.ms - SUNDAY) / DAYS(1), 20 / 0.314, 1e-6);
    near((double)(w.late.ms - SUNDAY) / DAYS(1), 20 / 0.186, 1e-6);
    probe(10, 0.25, 0.001, 14); /* never surer than a tenth */
    look(RO);
    near((double)(w.early.ms - SUNDAY) / DAYS(1), 72, 1e-6);
    near((double)(w.late.ms - SUNDAY) / DAYS(1), 88, 1e-6);
    probe(10, 0.25, 0.22, 14); /* perhaps never */
    look(RO);
    assert_int_equal(w.wear, SOURCE_WEARING);
    assert_false(utc_is_set(w.late));
    probe(10, 0.25, 0.3, 14); /* it may as well stand still */
    look(RO);
    assert_int_equal(w.wear, SOURCE_STEADY);
    assert_false(utc_is_set(w.exhausted));
    probe(10, -0.1, 0.01, 14);
    look(RO);
    assert_int_equal(w.wear, SOURCE_STEADY);
    r.sources[RO].exhausted_ec = 12;
    probe(10, 0.25, 0.05, 14);
    look(RO);
    near((double)(w.exhausted.ms - SUNDAY) / DAYS(1), 8, 1e-6);
}

static void worn_out_is_said(void **state)
{
    (void)state;
    probe(31, 0.25, 0.05, 14);
    look(RO);
    assert_int_equal(w.wear, SOURCE_EXHAUSTED);
    assert_int_equal(count, 1);
    assert_int_equal(remarks[0].kind, WEEK_CAUTION);
    assert_non_null(strstr(remarks[0].text, "31 µS/cm are beyond 30"));
}

/* 8, 10, 12, 14 over 30 days: 0.2 a day. */
static void a_trend_by_hand_tests(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++)
        test_of("source/ro", 30 - 10 * i, "ec", 8 + 2 * i, 0.5);
    look(RO);
    assert_true(isnan(w.trend.per_day)); /* three are too few */
    test_of("source/ro", 0, "ec", 14, 0.5);
    look(RO);
    near(w.trend.per_day, 0.2, 1e-9);
    near(w.trend.span_d, 30, 1e-9);
    assert_true(w.trend_by_tests);
    near((double)(w.exhausted.ms - SUNDAY) / DAYS(1), 80, 1e-6);
    probe(14, NAN, NAN, 0); /* a probe that has not seen enough yet: nothing is guessed beside it */
    look(RO);
    assert_true(isnan(w.trend.per_day));
    assert_int_equal(w.wear, SOURCE_WEAR_UNKNOWN);
}

static void a_new_membrane_starts_afresh(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++)
        test_of("source/ro", 40 - 10 * i, "ec", 14 + 2 * i, 0.5);
    note(JOURNAL_CLEANING, "source/ro", DAYS(9), NAN);
    test_of("source/ro", 1, "ec", 6, 0.5);
    look(RO);
    assert_true(isnan(w.trend.per_day));
    near(w.values[Q_EC].value, 6, 0);
    probe(6, 0.4, 0.01, 20);
    look(RO);
    assert_true(isnan(w.trend.per_day)); /* its weeks are of the old one */
    probe(6, 0.4, 0.01, 8);
    look(RO);
    near(w.trend.per_day, 0.4, 0);
}

static void many_tests_in_any_order(void **state)
{
    (void)state;
    for (int i = 0; i < 60; i++) {
        int age = (i * 37) % 60;
        test_of("source/ro", age, "ec", 20 - 0.2 * age, 0.5);
    }
    assert_int_equal(r.diary_sources[RO].ec_count, DIARY_SOURCE_TESTS);
    for (int i = 0; i < DIARY_SOURCE_TESTS; i++)
        assert_int_equal(r.diary_sources[RO].ec[i].t.ms, SUNDAY - DAYS(i));
    look(RO);
    near(w.trend.per_day, 0.2, 1e-9);
    assert_int_equal(w.values[Q_EC].tests, 60);
    near(w.values[Q_EC].lo, 20 - 0.2 * 59, 1e-9);
}

static void chlorine(void **state)
{
    (void)state;
    test_of("source/tap", 1, "gh", 12, 0.5);
    test_of("source/tap", 1, "kh", 9, 0.5);
    look(TAP);
    assert_int_equal(count, 1);
    assert_non_null(strstr(remarks[0].text, "may carry chlorine or chloramine"));
    r.sources[TAP].disinfectant = DISINFECTANT_CHLORAMINE;
    look(TAP);
    assert_non_null(strstr(remarks[0].text, "does not air out"));
    r.sources[TAP].disinfectant = DISINFECTANT_NONE;
    look(TAP);
    assert_int_equal(count, 0);
    test_of("source/tap", 0, "cl2", 0.3, 0.05); /* what the test says goes before what was said */
    look(TAP);
    assert_int_equal(count, 1);
    assert_non_null(strstr(remarks[0].text, "0.30 mg/L of chlorine"));
    look(RAIN);
    assert_int_equal(count, 0);
}

static void of_another_season(void **state)
{
    (void)state;
    r.sources[TAP].disinfectant = DISINFECTANT_NONE;
    look(TAP);
    assert_int_equal(remarks[0].kind, WEEK_MISSING);
    assert_non_null(strstr(remarks[0].text, "lentic note source/tap test gh="));
    test_of("source/tap", 200, "gh", 12, 0.5);
    test_of("source/tap", 200, "kh", 9, 0.5);
    look(TAP);
    assert_non_null(strstr(remarks[0].text, "gh 12 °dH is 200 days old, of another season"));
    test_of("source/tap", 300, "gh", 15, 0.5);
    look(TAP);
    assert_non_null(strstr(remarks[0].text, "over the year it was 12 to 15"));
    test_of("source/tap", 5, "gh", 13, 0.5);
    test_of("source/tap", 5, "kh", 9, 0.5);
    look(TAP);
    assert_int_equal(count, 0);
}

/* A quarter of tap in purified water. */
static void what_a_blend_brings(void **state)
{
    (void)state;
    struct mix_source base;
    struct why why;
    char buf[256] = "";
    struct text caution = text_over(buf, sizeof buf);
    double no3;
    assert_int_equal(source_facts_base(&r.site, 0, &r.diary, &base, &no3, &why), STATUS_OK);
    near(base.gh_dh + base.kh_dh + base.ec_us_cm + no3, 0, 0);
    assert_false(source_facts_caution(&r.site, 0, &caution));
    assert_true(site_water_is_pure(&r.site, 0));
    r.waters[0].blend = 7;
    r.waters[0].blend_share = 0.25;
    assert_false(site_water_is_pure(&r.site, 0));
    assert_true(source_facts_caution(&r.site, 0, &caution));
    assert_int_equal(source_facts_base(&r.site, 0, &r.diary, &base, &no3, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "what tap holds is not known"));
    near(base.gh_dh, 0, 0);
    test_of("source/tap", 5, "gh", 16, 0.5);
    test_of("source/tap", 5, "kh", 8, 0.5);
    assert_int_equal(source_facts_base(&r.site, 0, &r.diary, &base, &no3, &why), STATUS_OK);
    near(base.gh_dh, 4, 1e-12);
    near(base.kh_dh, 2, 1e-12);
    assert_true(isnan(base.ec_us_cm) && isnan(no3)); /* they were not tested */
    test_of("source/tap", 5, "ec", 600, 10);
    test_of("source/tap", 5, "no3", 20, 2);
    test_of("source/ro", 5, "ec", 8, 1);
    assert_int_equal(source_facts_base(&r.site, 0, &r.diary, &base, &no3, &why), STATUS_OK);
    near(base.ec_us_cm, 8 + 0.25 * 592, 1e-12);
    near(no3, 5, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(nothing_is_known, room),
        cmocka_unit_test_setup(what_is_held_back, room),
        cmocka_unit_test_setup(more_than_its_feed, room),
        cmocka_unit_test_setup(the_date_with_its_spread, room),
        cmocka_unit_test_setup(worn_out_is_said, room),
        cmocka_unit_test_setup(a_trend_by_hand_tests, room),
        cmocka_unit_test_setup(a_new_membrane_starts_afresh, room),
        cmocka_unit_test_setup(many_tests_in_any_order, room),
        cmocka_unit_test_setup(chlorine, room),
        cmocka_unit_test_setup(of_another_season, room),
        cmocka_unit_test_setup(what_a_blend_brings, room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
