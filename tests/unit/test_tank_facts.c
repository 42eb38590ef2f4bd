/* What a plan takes as known: each value with where it comes from, and in words what is missing or assumed.
 */
#include "plan/tank_facts.h"
#include "week_room.h"

static const struct week_tank *facts(int tank, double room_c)
{
    tank_facts(&r.site, &r.reports[tank], &r.diary, room_c, 7, &r.weeks[tank]);
    return &r.weeks[tank];
}

static bool says(const struct week_tank *w, enum week_remark_kind kind, const char *words)
{
    for (int i = 0; i < w->remark_count; i++)
        if (w->remarks[i].kind == kind && strstr(w->remarks[i].text, words) != NULL)
            return true;
    return false;
}

static void a_probe_counts_while_it_is_fresh(void **state)
{
    (void)state;
    struct value_report *ec = &r.reports[0].values[Q_EC];
    *ec = value_made(ORIGIN_PROBE, 231, 0);
    assert_int_equal(facts(0, NAN)->now[WEEK_EC].origin, WEEK_PROBE);
    near(r.weeks[0].now[WEEK_EC].value, 231, 1e-12);
    ec->stale = true;
    ec->t.ms = SUNDAY - 5 * MS_PER_HOUR;
    assert_int_equal(facts(0, NAN)->now[WEEK_EC].origin, WEEK_PROBE);
    ec->t.ms = SUNDAY - 7 * MS_PER_HOUR; /* the water has moved on */
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->now[WEEK_EC].origin, WEEK_TARGET);
    near(w->now[WEEK_EC].value, 200, 1e-12);
    assert_true(says(w, WEEK_ASSUMED, "of EC: 200"));
    assert_true(says(w, WEEK_MISSING, "the step of EC cannot be told for sure"));
}

static void a_failed_value_is_none(void **state)
{
    (void)state;
    r.reports[0].values[Q_TEMP] = value_made(ORIGIN_PROBE, 22, 0);
    assert_int_equal(facts(0, NAN)->now[WEEK_TEMP].origin, WEEK_PROBE);
    r.reports[0].values[Q_TEMP].flag = FLAG_FAIL;
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->now[WEEK_TEMP].origin, WEEK_UNKNOWN); /* a temperature is never assumed */
    assert_true(says(w, WEEK_MISSING, "no fresh temperature"));
    assert_int_equal(w->fresh[WEEK_TEMP].origin, WEEK_UNKNOWN);
    assert_int_equal(facts(0, 21)->fresh[WEEK_TEMP].origin, WEEK_ROOM);
}

/* 3 uS/cm in water of 200 is air: no change is reckoned from it. */
static void a_probe_in_the_air_is_not_reckoned_with(void **state)
{
    (void)state;
    r.reports[0].values[Q_EC] = value_made(ORIGIN_PROBE, 3, 0);
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->now[WEEK_EC].origin, WEEK_TARGET);
    assert_true(says(w, WEEK_CAUTION, "the EC probe shows 3 µS/cm: is it out of the water?"));
    r.reports[0].values[Q_EC] = value_made(ORIGIN_HAND, 3, 0); /* a test is believed */
    assert_int_equal(facts(0, NAN)->now[WEEK_EC].origin, WEEK_HAND);
}

/* Hardness from the conductivity, where the recipe tells it; nitrate from nowhere but a test. */
static void what_is_not_tested_is_reckoned(void **state)
{
    (void)state;
    r.reports[0].derived[DERIVED_GH_EST] = value_made(ORIGIN_DERIVED, 4.4, 0);
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->now[WEEK_GH].origin, WEEK_RECKONED);
    near(w->now[WEEK_GH].value, 4.4, 1e-12);
    assert_true(says(w, WEEK_ASSUMED, "what the recipe has at this EC"));
    assert_int_equal(w->now[WEEK_NO3].origin, WEEK_UNKNOWN);
    r.reports[0].values[Q_GH] = value_made(ORIGIN_HAND, 5, DAYS(1));
    w = facts(0, NAN);
    assert_int_equal(w->now[WEEK_GH].origin, WEEK_HAND);
    near(w->now[WEEK_GH].value, 5, 1e-12);
}

static void a_test_that_does_not_belong_is_doubted(void **state)
{
    (void)state;
    r.reports[0].values[Q_GH] = value_made(ORIGIN_HAND, 9, 0);
    r.reports[0].derived[DERIVED_GH_EST] = value_made(ORIGIN_DERIVED, 4, 0);
    r.reports[0].derived_sd[DERIVED_GH_EST] = 1;
    assert_true(says(facts(0, NAN), WEEK_CAUTION, "repeat the test before a large change"));
    r.reports[0].derived_sd[DERIVED_GH_EST] = 3; /* the recipe knows no better */
    assert_false(says(facts(0, NAN), WEEK_CAUTION, "repeat the test"));
}

static void a_trend_must_stand_out(void **state)
{
    (void)state;
    r.reports[0].values[Q_EC] = value_made(ORIGIN_PROBE, 210, 0);
    r.reports[0].solids = (struct solids_report){
        .ec_per_day = 3, .ec_per_day_sd = 1, .span_days = 6, .evaporation_day = 0.01
    };
    near(facts(0, NAN)->per_day[WEEK_EC], 3, 1e-12);
    r.reports[0].solids.span_days = 1; /* weather */
    near(facts(0, NAN)->per_day[WEEK_EC], 0, 1e-12);
    r.reports[0].solids = (struct solids_report){ .ec_per_day = 3, .ec_per_day_sd = 1.6, .span_days = 6 };
    near(facts(0, NAN)->per_day[WEEK_EC], 0, 1e-12);
}

static void a_batch_goes_in_unless_it_missed(void **state)
{
    (void)state;
    r.diary_waters[0].batch = 12;
    r.diary_waters[0].t = (utc_t){ SUNDAY - DAYS(1) };
    r.diary_waters[0].ec = 207;
    r.diary_waters[0].gh = r.diary_waters[0].kh = NAN;
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->fresh[WEEK_EC].origin, WEEK_BATCH);
    near(w->fresh[WEEK_EC].value, 207, 1e-12);
    assert_int_equal(w->fresh[WEEK_GH].origin, WEEK_TARGET);
    r.diary_waters[0].ec = 240; /* 40 beside 200, where 20 are allowed */
    w = facts(0, NAN);
    assert_int_equal(w->fresh[WEEK_EC].origin, WEEK_TARGET);
    assert_true(says(w, WEEK_CAUTION, "batch 12, mixed last, has EC 240 instead of 200"));
    r.diary_waters[0].ec = 207;
    r.diary_waters[0].t = (utc_t){ SUNDAY - DAYS(15) }; /* used up, or stood too long */
    assert_int_equal(facts(0, NAN)->fresh[WEEK_EC].origin, WEEK_TARGET);
}

/* The animals' band and the water's drift: the narrower side of each. */
static void limits_are_the_narrower_of_both(void **state)
{
    (void)state;
    r.tanks[0].band[Q_EC] = (struct span){ 150, 210 };
    const struct week_tank *w = facts(0, NAN);
    near(w->limit[WEEK_EC].lo, 180, 1e-12);
    near(w->limit[WEEK_EC].hi, 210, 1e-12);
    near(w->limit[WEEK_NO3].hi, 20, 1e-12); /* the plan's own */
}

static void without_a_water_nothing_goes_in(void **state)
{
    (void)state;
    r.tanks[0].water = -1;
    const struct week_tank *w = facts(0, 21);
    assert_true(says(w, WEEK_MISSING, "no water is named for this tank"));
    assert_int_equal(w->fresh[WEEK_EC].origin, WEEK_UNKNOWN);
    assert_int_equal(w->now[WEEK_EC].origin, WEEK_UNKNOWN);
}

static void what_evaporates_by_word_note_or_level(void **state)
{
    (void)state;
    assert_int_equal(facts(0, NAN)->topoff_from, WEEK_TOPOFF_UNKNOWN);
    assert_true(says(&r.weeks[0], WEEK_MISSING, "what evaporates is not known"));
    r.reports[0].solids.evaporation_day = 0.01;
    near(facts(0, NAN)->topoff_l_day, 0.4, 1e-12);
    assert_int_equal(r.weeks[0].topoff_from, WEEK_TOPOFF_SEEN);
    r.tanks[0].topoff_l_day = 0.5;
    r.tanks[0].reservoir_l = 5;
    r.diary_tanks[0].topped = (utc_t){ SUNDAY - DAYS(4) };
    const struct week_tank *w = facts(0, NAN);
    assert_int_equal(w->topoff_from, WEEK_TOPOFF_SAID);
    near(w->reservoir_lasts_d, 10, 1e-12);
    assert_int_equal(w->reservoir_empty.ms, SUNDAY + DAYS(6));
}

static void tests_fall_due(void **state)
{
    (void)state;
    const struct week_tank *w = facts(0, NAN); /* the water has a target of GH, and no probe measures it */
    assert_int_equal(w->test_count, 1);
    assert_int_equal(w->tests[0].quantity, Q_GH);
    assert_int_equal(w->tests[0].due.ms, SUNDAY); /* never tested: now */
    r.reports[0].values[Q_GH] = value_made(ORIGIN_HAND, 4, DAYS(10));
    w = facts(0, NAN);
    assert_int_equal(w->tests[0].due.ms, SUNDAY + DAYS(4));
    r.reports[0].values[Q_GH] = value_made(ORIGIN_HAND, 4, DAYS(1));
    assert_int_equal(facts(0, NAN)->test_count, 0); /* not within the week */
}

static void the_calendar_goes_by_the_last_change(void **state)
{
    (void)state;
    const struct week_tank *w = facts(0, NAN);
    assert_true(isnan(w->every_d) && says(w, WEEK_MISSING, "no usual change is named"));
    r.tanks[0].change_l_week = 6;
    w = facts(0, NAN);
    near(w->every_d, 7, 1e-12);
    near(w->litres_each, 6, 1e-12);
    assert_true(says(w, WEEK_ASSUMED, "no change is known yet"));
    r.reports[0].last_change = (utc_t){ SUNDAY - DAYS(3) }; /* seen */
    note(JOURNAL_CHANGE, "tank/a1", DAYS(2), 4);            /* and noted later */
    assert_int_equal(facts(0, NAN)->last_change.ms, SUNDAY - DAYS(2));
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup(name, week_room_init)
    const struct CMUnitTest tests[] = {
        TEST(a_probe_counts_while_it_is_fresh),
        TEST(a_failed_value_is_none),
        TEST(a_probe_in_the_air_is_not_reckoned_with),
        TEST(what_is_not_tested_is_reckoned),
        TEST(a_test_that_does_not_belong_is_doubted),
        TEST(a_trend_must_stand_out),
        TEST(a_batch_goes_in_unless_it_missed),
        TEST(limits_are_the_narrower_of_both),
        TEST(without_a_water_nothing_goes_in),
        TEST(what_evaporates_by_word_note_or_level),
        TEST(tests_fall_due),
        TEST(the_calendar_goes_by_the_last_change),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
