/* Sums of the room worked by hand, and added up again over random rooms. */
#include "week_room.h"

static void litres_and_grams(void **state)
{
    (void)state;
    for (int i = 0; i < WEEK_TANKS; i++)
        r.tanks[i].change_l_week = 4 + 2 * i; /* soft 4 + 6, middling 8 + 10 */
    const struct week_room *w = week_of_room(20, 7);
    assert_int_equal(w->water_count, 2);
    near(w->waters[0].litres, 10, 1e-9);
    assert_int_equal(w->waters[0].tanks, 2);
    assert_int_equal(w->waters[0].first.ms, SUNDAY);
    near(w->waters[0].parts[0].grams, 1, 1e-9);
    near(w->waters[1].litres, 18, 1e-9);
    near(w->waters[1].parts[0].grams, 3.6, 1e-9);
    near(w->waters[1].parts[1].grams, 1.8, 1e-9);
    near(w->waters[1].gh, 8, 1e-9);
    near(w->waters[1].kh, 4, 1e-9);
    near(w->waters[1].ec, 400, 1e-9);
    assert_int_equal(w->salt_count, 2);
    near(w->salts[0].grams, 4.6, 1e-9);
    near(w->salts[0].per_day, 4.6 / 7, 1e-9);
    assert_int_equal((w->salts[0].out.ms - SUNDAY) / MS_PER_DAY, 152); /* 100 g at 4.6 g a week */
    assert_false(utc_is_set(w->salts[1].out));                         /* its stock is not said */
    assert_true(remarks_on(w->remarks, w->remark_count, "1 salt without stock_g"));
    near(w->sources[0].mix_l, 28, 1e-9);
    assert_true(week_is_feasible(w));
}

/* The container of 30 L holds what the first day asks for, the 20 L that follow each day the rest; 80 L at
 * once do not come together. */
static void the_source_runs_short(void **state)
{
    (void)state;
    for (int i = 0; i < WEEK_TANKS; i++)
        r.tanks[i].change_l_week = 7; /* 28 L on the first day */
    r.tanks[0].topoff_l_day = 1;
    const struct week_room *w = week_of_room(20, 7);
    near(w->sources[0].gives_l, 30 + 6 * 20, 1e-9);
    near(w->sources[0].topoff_l, 7, 1e-9);
    near(w->sources[0].short_l, 0, 1e-9);
    for (int i = 0; i < WEEK_TANKS; i++)
        r.tanks[i].change_l_week = 12; /* 12 L are 30 % */
    w = week_of_room(20, 7);
    near(w->sources[0].short_l, 48 + 1 - 30, 1e-9);
    assert_int_equal(w->sources[0].short_at.ms, SUNDAY);
    assert_false(week_is_feasible(w));
    r.sources[0].makes_l_day = r.sources[0].store_l = NAN;
    w = week_of_room(20, 7);
    near(w->sources[0].short_l, 0, 0);
    assert_true(remarks_on(w->remarks, w->remark_count, "makes_l_day"));
}

static void weigh(int64_t age_ms, double grams)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = JOURNAL_BATCH;
    e.id = 3;
    e.at = (utc_t){ SUNDAY - age_ms };
    e.litres = 60;
    strcpy(e.water, "soft");
    assert_int_equal(journal_put(&e, JOURNAL_SALT, "hard", grams, NAN), STATUS_OK);
    diary_take(&r.diary, &e);
}

static void stock_by_the_batches(void **state)
{
    (void)state;
    r.salts[0].stock_since = (utc_t){ SUNDAY - DAYS(25) };
    weigh(DAYS(30), 12); /* before it was weighed */
    weigh(DAYS(20), 30);
    weigh(DAYS(10), 50);
    const struct week_room *w = week_of_room(20, 7);
    assert_int_equal(w->salt_count, 1); /* nothing is planned, but it runs out */
    near(w->salts[0].used_g, 80, 1e-9);
    near(w->salts[0].left_g, 20, 1e-9);
    near(w->salts[0].per_day, 4, 1e-9); /* 80 g from the 30th day back to the 10th, the oldest taken off */
    assert_int_equal(w->salts[0].out.ms, SUNDAY + DAYS(5));
    r.tanks[2].change_l_week = 12;
    r.salts[0].stock_g = 81;
    w = week_of_room(20, 7);
    assert_true(w->salts[0].short_now); /* 2.4 g wanted, 1 g there */
    assert_false(week_is_feasible(w));
}

static void a_water_that_cannot_be_mixed_is_told(void **state)
{
    (void)state;
    r.tanks[0].change_l_week = 4;
    r.waters[0].recipe_count = 0;
    r.waters[0].target[Q_KH] = NAN;
    const struct week_room *w = week_of_room(20, 7);
    assert_false(w->waters[0].mixed);
    assert_non_null(strstr(w->waters[0].why.text, "soft"));
    assert_false(week_is_feasible(w));
}

static struct journal_entry batch_of(int64_t id, const char *water, double age_d, double litres, double ec)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = JOURNAL_BATCH;
    e.id = id;
    e.at = e.written = (utc_t){ SUNDAY - DAYS(age_d) };
    (void)snprintf(e.water, sizeof e.water, "%s", water);
    e.litres = litres;
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ec", ec, NAN), STATUS_OK);
    return e;
}

/* 20 L were mixed, 6 went into a tank: 14 stand there, of the 18 that are wanted. */
static void what_stands_mixed_is_not_mixed_again(void **state)
{
    (void)state;
    struct journal_entry batch = batch_of(7, "middling", 3, 20, 410), change = batch;
    r.tanks[2].change_l_week = 8;
    r.tanks[3].change_l_week = 10;
    diary_take(&r.diary, &batch);
    change.kind = JOURNAL_CHANGE;
    change.batch = 7;
    change.litres = 6;
    change.item_count = 0;
    (void)snprintf(change.place, sizeof change.place, "tank/a1");
    diary_take(&r.diary, &change);
    const struct week_water *w = &week_of_room(20, 7)->waters[0];
    near(w->litres, 18, 1e-9);
    assert_int_equal(w->stored_from, WEEK_STORED_BATCH);
    assert_int_equal(w->batch, 7);
    near(w->stored_l, 14, 1e-9);
    near(w->mix_l, 4, 1e-9);
    near(w->parts[0].grams, 0.8, 1e-9);
    near(r.week.sources[0].mix_l, 4, 1e-9);
    near(r.week.salts[0].grams, 0.8, 1e-9);
    struct journal_entry bad = batch_of(8, "middling", 1, 20, 480); /* it missed its water: not to be used */
    diary_take(&r.diary, &bad);
    near(week_of_room(20, 7)->waters[0].mix_l, 18, 1e-9);
    struct journal_entry old = batch_of(9, "soft", 15, 20, 200); /* it stood too long */
    r.tanks[0].change_l_week = 4;
    diary_take(&r.diary, &old);
    near(week_of_room(20, 7)->waters[0].mix_l, 4, 1e-9);
}

static void the_level_goes_before_the_journal(void **state)
{
    (void)state;
    struct journal_entry batch = batch_of(7, "soft", 1, 20, 200);
    r.stores[0] = (struct container){ 7, 0, 30, 0.1 };
    r.places[7] = (struct place){ PLACE_STORE, "drum", "store/drum", "drum", -1 };
    r.site.place_count = 8;
    r.site.stores = r.stores;
    r.site.store_count = 1;
    r.tanks[0].change_l_week = 12;
    diary_take(&r.diary, &batch);
    near(week_of_room(20, 7)->waters[0].mix_l, 0, 1e-9);
    assert_int_equal(r.week.waters[0].part_count, 0);
    assert_true(week_is_feasible(&r.week));
    r.diary_stores[0].level_mm = 50;
    const struct week_water *w = &week_of_room(20, 7)->waters[0];
    assert_int_equal(w->stored_from, WEEK_STORED_LEVEL);
    near(w->stored_l, 5, 1e-9);
    near(w->mix_l, 7, 1e-9);
}

/* A quarter of tap with GH 8 and KH 4 in middling water (8, 4): GH 2 and KH 1 are there already. */
static void a_blend_takes_its_own_minerals_off(void **state)
{
    (void)state;
    struct journal_entry test;
    r.places[7] = (struct place){ PLACE_SOURCE, "tap", "source/tap", "tap water", -1 };
    r.site.place_count = 8;
    r.sources[1] = (struct source){ 7, NAN, NAN, SOURCE_TAP, DISINFECTANT_CHLORINE, -1, NAN };
    r.site.source_count = 2;
    r.waters[1].blend = 7;
    r.waters[1].blend_share = 0.25;
    r.tanks[2].change_l_week = 8;
    diary_init(&r.diary);
    const struct week_room *w = week_of_room(20, 7);
    assert_false(w->waters[0].mixed);
    assert_non_null(strstr(w->waters[0].why.text, "tap"));
    test = batch_of(5, "", 10, NAN, 600);
    test.kind = JOURNAL_TEST;
    (void)snprintf(test.place, sizeof test.place, "source/tap");
    assert_int_equal(journal_put(&test, JOURNAL_VALUE, "gh", 8, 0.5), STATUS_OK);
    assert_int_equal(journal_put(&test, JOURNAL_VALUE, "kh", 4, 0.5), STATUS_OK);
    diary_take(&r.diary, &test);
    w = week_of_room(20, 7);
    assert_true(w->waters[0].mixed);
    near(w->waters[0].base.gh, 2, 1e-9);
    near(w->waters[0].parts[0].grams, 0.75 * 1.6, 1e-9);
    near(w->waters[0].parts[0].pure_g, 1.6, 1e-9);
    near(w->waters[0].parts[1].grams, 0.75 * 0.8, 1e-9);
    near(w->waters[0].gh, 8, 1e-9);
    near(w->sources[0].mix_l, 6, 1e-9);
    near(w->sources[1].mix_l, 2, 1e-9);
    assert_true(remarks_on(w->remarks, w->remark_count, "it carries chlorine"));
    assert_true(remarks_on(r.weeks[2].remarks, r.weeks[2].remark_count, "it carries chlorine"));
    assert_false(remarks_on(r.weeks[0].remarks, r.weeks[0].remark_count, "chlorine"));
    assert_int_equal(r.weeks[2].fresh[WEEK_NO3].origin, WEEK_UNKNOWN);
}

static void calibrations(void **state)
{
    (void)state;
    struct stream streams[4] = {
        { .quantity = Q_PH }, { .quantity = Q_PH }, { .quantity = Q_PH }, { .quantity = Q_TEMP }
    };
    struct room_probe probes[4] = { { { SUNDAY - DAYS(28) }, false },
                                    { { SUNDAY - DAYS(3) }, true },
                                    { UTC_NONE, false },
                                    { { SUNDAY - DAYS(999) }, false } };
    r.site.streams = streams;
    r.site.stream_count = 4;
    r.site.plan.calibrate_every_d[Q_PH] = 30;
    (void)week_of_room(20, 7);
    room_week_eval(&r.site, r.weeks, &r.diary, probes, &r.week);
    assert_int_equal(r.week.calibration_count, 2);
    assert_int_equal(r.week.calibrations[0].due.ms, SUNDAY + DAYS(2));
    assert_int_equal(r.week.calibrations[1].due.ms, SUNDAY);
    assert_true(r.week.calibrations[1].fresh);
    assert_int_equal(r.week.never_calibrated, 1);
}

/* --- random rooms --- */

static uint64_t dice_state, seed; /* seed: of the room under test; 0: all went well */

static double dice(double lo, double hi)
{
    dice_state = dice_state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return lo + (hi - lo) * (double)(dice_state >> 11) / 9007199254740992.0;
}

/* Everything that the tanks' plans take, added up anew. */
static void add_up(const struct week_room *w, int days)
{
    double litres[2] = { 0, 0 }, topoff = 0, has = r.sources[0].store_l, worst = 0;
    for (int i = 0; i < WEEK_TANKS; i++)
        topoff += r.weeks[i].topoff_l_day * days;
    for (int d = 0; d < days; d++) {
        for (int i = 0; i < WEEK_TANKS; i++) {
            has -= r.weeks[i].topoff_l_day;
            for (int k = 0; k < r.weeks[i].stage_count; k++)
                if ((r.weeks[i].stages[k].at.ms - SUNDAY) / MS_PER_DAY == d) {
                    has -= r.weeks[i].stages[k].litres;
                    litres[i / 2] += r.weeks[i].stages[k].litres;
                }
        }
        worst = fmax(worst, -has);
        has = fmin(has + r.sources[0].makes_l_day, r.sources[0].store_l);
    }
    for (int i = 0; i < w->water_count; i++)
        near(w->waters[i].litres, litres[w->waters[i].water], 1e-9);
    for (int i = 0; i < w->salt_count; i++)
        near(w->salts[i].grams, w->salts[i].salt == 0 ? 0.1 * litres[0] + 0.2 * litres[1] : 0.1 * litres[1],
             1e-9);
    near(w->sources[0].mix_l, litres[0] + litres[1], 1e-9);
    near(w->sources[0].topoff_l, topoff, 1e-9);
    near(w->sources[0].short_l, worst, 1e-9);
}

static void random_rooms(void **state)
{
    const char *given = getenv("SEED");
    seed = given != NULL ? strtoull(given, NULL, 10) : 1;
    for (int count = given != NULL ? 1 : 1000; count > 0; count--, seed++) {
        (void)week_room_init(state);
        dice_state = seed * UINT64_C(2862933555777941757) + 3037000493u;
        r.sources[0] =
            (struct source){ .place = 2, .makes_l_day = dice(0, 30), .store_l = dice(5, 80), .feed = -1 };
        for (int i = 0; i < WEEK_TANKS; i++) {
            r.tanks[i].change_l_week = dice(0, 12);
            r.tanks[i].change_every_d = floor(dice(1, 10));
            r.tanks[i].topoff_l_day = dice(0.05, 1.5);
            r.reports[i].values[Q_EC] = value_made(ORIGIN_PROBE, dice(150, 450), 0);
            r.reports[i].last_change = (utc_t){ SUNDAY - DAYS(dice(0, 9)) };
        }
        int days = 1 + (int)dice(0, 20);
        add_up(week_of_room(20, days), days);
    }
    seed = 0;
}

/* --- random blends --- */

struct tap {
    double gh, kh, no3;
};

static struct tap roll_blends(void)
{
    struct tap tap = { dice(0, 25), dice(0, 18), dice(0, 60) };
    struct journal_entry e = batch_of(5, "", dice(0, 300), NAN, dice(50, 900));
    r.places[7] = (struct place){ PLACE_SOURCE, "tap", "source/tap", "tap water", -1 };
    r.site.place_count = 8;
    r.sources[1] = (struct source){ 7, NAN, NAN, SOURCE_TAP, DISINFECTANT_NONE, -1, NAN };
    r.site.source_count = 2;
    diary_init(&r.diary);
    e.kind = JOURNAL_TEST;
    (void)snprintf(e.place, sizeof e.place, "source/tap");
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", tap.gh, 0.5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "kh", tap.kh, 0.5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "no3", tap.no3, 2), STATUS_OK);
    diary_take(&r.diary, &e);
    r.salts[1].gh = dice(0, 1) < 0.5 ? 0 : dice(0, 20); /* a salt that brings both */
    for (int i = 0; i < 2; i++) {
        r.waters[i].blend = dice(0, 1) < 0.7 ? 7 : -1;
        r.waters[i].blend_share = dice(0.01, 1);
        for (int k = 0; k <= i; k++)
            r.recipes[i][k].g_per_l = dice(0.02, 0.5);
    }
    for (int i = 0; i < WEEK_TANKS; i++)
        r.tanks[i].change_l_week = dice(1, 12);
    if (dice(0, 1) < 0.5)
        r.diary_stores[0].level_mm = dice(0, 200);
    r.stores[0] = (struct container){ 2, 0, 15, 0.1 };
    r.site.stores = r.stores;
    r.site.store_count = 1;
    return tap;
}

static double hardness(const struct week_water *w, bool gh)
{
    double sum = gh ? w->base.gh : w->base.kh;
    for (int i = 0; i < w->part_count; i++) {
        const struct salt *salt = &r.salts[w->parts[i].salt];
        assert_true(w->parts[i].grams >= 0);
        sum += w->parts[i].grams / w->mix_l * (gh ? salt->gh : salt->kh);
    }
    return sum;
}

/* Weighed again by brute force: what comes out is the recipe's hardness, or the base was too hard for it. */
static void weigh_again(const struct week_water *w, const struct tap *tap)
{
    const struct water *water = &r.waters[w->water];
    double share = water->blend < 0 ? 0 : water->blend_share, gh = 0, kh = 0, gh_with_kh = 0;
    for (int i = 0; i < water->recipe_count; i++) {
        const struct salt *salt = &r.salts[water->recipe[i].salt];
        gh += water->recipe[i].g_per_l * salt->gh;
        kh += water->recipe[i].g_per_l * salt->kh;
        gh_with_kh += salt->kh > 0 ? water->recipe[i].g_per_l * salt->gh : 0;
    }
    double most_gh = gh + (isnan(water->drift[Q_GH]) ? 0.5 : water->drift[Q_GH]), most_kh = kh + 0.5;
    near(w->base.gh, share * tap->gh, 1e-9);
    near(w->base.kh, share * tap->kh, 1e-9);
    if (!w->mixed) {
        double forced = kh > 0 ? gh_with_kh * fmax(1 - w->base.kh / kh, 0) : 0;
        assert_true(w->base.gh + forced > most_gh - 1e-9 || w->base.kh > most_kh - 1e-9);
        return;
    }
    if (!(w->mix_l > 0))
        return;
    double got_gh = hardness(w, true), got_kh = hardness(w, false);
    near(got_gh, w->gh, 1e-9);
    near(got_kh, w->kh, 1e-9);
    assert_true(got_gh >= gh - 1e-9 && got_gh <= most_gh + 1e-9);
    assert_true(got_kh >= kh - 1e-9 && got_kh <= most_kh + 1e-9);
}

static void random_blends(void **state)
{
    const char *given = getenv("SEED");
    int mixed = 0, refused = 0;
    seed = given != NULL ? strtoull(given, NULL, 10) : 1;
    for (int count = given != NULL ? 1 : 2000; count > 0; count--, seed++) {
        (void)week_room_init(state);
        dice_state = seed * UINT64_C(2862933555777941757) + 3037000493u;
        struct tap tap = roll_blends();
        const struct week_room *w = week_of_room(20, 7);
        double taken[2] = { 0, 0 }, stored = 0, needed = 0, wanted[2] = { 0, 0 };
        for (int i = 0; i < w->source_count; i++)
            taken[w->sources[i].source] = w->sources[i].mix_l;
        for (int i = 0; i < w->water_count; i++) {
            const struct week_water *water = &w->waters[i];
            const struct water *of = &r.waters[water->water];
            double share = of->blend < 0 ? 0 : of->blend_share;
            weigh_again(water, &tap);
            stored += water->stored_l;
            needed += water->litres;
            wanted[0] += (1 - share) * water->mix_l;
            wanted[1] += share * water->mix_l;
            mixed += water->mixed;
            refused += !water->mixed;
        }
        near(taken[0] + taken[1] + stored, needed, 1e-9);
        near(taken[0], wanted[0], 1e-9);
        near(taken[1], wanted[1], 1e-9);
        for (int i = 0; i < WEEK_TANKS; i++)
            near(r.weeks[i].fresh[WEEK_NO3].value,
                 r.waters[i / 2].blend < 0 ? 0 : r.waters[i / 2].blend_share * tap.no3, 1e-9);
    }
    assert_true(given != NULL || (mixed > 500 && refused > 200));
    seed = 0;
}

static int tell_seed(void **state)
{
    (void)state;
    if (seed != 0)
        print_error("the room of SEED=%llu\n", (unsigned long long)seed);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(litres_and_grams, week_room_init),
        cmocka_unit_test_setup(the_source_runs_short, week_room_init),
        cmocka_unit_test_setup(stock_by_the_batches, week_room_init),
        cmocka_unit_test_setup(a_water_that_cannot_be_mixed_is_told, week_room_init),
        cmocka_unit_test_setup(what_stands_mixed_is_not_mixed_again, week_room_init),
        cmocka_unit_test_setup(the_level_goes_before_the_journal, week_room_init),
        cmocka_unit_test_setup(a_blend_takes_its_own_minerals_off, week_room_init),
        cmocka_unit_test_setup(calibrations, week_room_init),
        cmocka_unit_test_teardown(random_rooms, tell_seed),
        cmocka_unit_test_teardown(random_blends, tell_seed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
