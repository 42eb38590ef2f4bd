/* The sums of a water, a salt, a source. */
#include "show/week_sums_room.h"
#include "week_shown.h"

static struct text begun(void)
{
    return text_over(buf, sizeof buf);
}

static void of_a_water(void **state)
{
    (void)state;
    struct week_page p = page_of();
    struct text out = begun();
    salts[0].gh = 40;
    week_sums_water(&p, 0, &out);
    has("4.00 L  a2, today\n");
    has("4.00 L  a1, day +1\n");
    has("8.00 L  together\n");
    has("0.80 g  ready mix: 8.00 L x 0.1000 g/L\n");
    has("GH 4.00 °dH: 0.1000 g/L x 40.00\n");
    has("KH 0.00 °dH\n");
    has("EC 200 µS/cm (give or take 12)");
}

static void of_one_that_stands_mixed_and_is_blended(void **state)
{
    (void)state;
    struct week_page p = page_of();
    struct text out = begun();
    struct week_water *w = &room.waters[0];
    salts[0].gh = 40;
    w->stored_l = 3;
    w->mix_l = 5;
    w->stored_from = WEEK_STORED_BATCH;
    w->batch = 214;
    w->base.gh = 1;
    w->base.kh = 0.5;
    w->base.ec = 90;
    w->parts[0] = (struct week_part){ 0, 0.375, 0.5 };
    week_sums_water(&p, 0, &out);
    has("3.00 L  of these stand mixed, the rest of batch 214 by the changes noted from it\n");
    has("5.00 L  to mix\n");
    has("made of 5.0 L from ro, which bring GH 1.00 and KH 0.50 and EC 90: taken off the grams\n");
    has("0.38 g  ready mix: 5.00 L x 0.0750 g/L; from purified water 0.50 g\n");
    has("GH 4.00 °dH: 1.00 of its own + 0.0750 g/L x 40.00\n");
}

static void of_one_that_cannot_be_mixed(void **state)
{
    (void)state;
    struct week_page p = page_of();
    struct text out = begun();
    room.waters[0].mixed = false;
    room.waters[0].part_count = 0;
    (void)why_say(&room.waters[0].why, STATUS_NONE, "what tap holds is not known");
    week_sums_water(&p, 0, &out);
    has("what tap holds is not known");
    room.water_count = 0;
    out = begun();
    week_sums_water(&p, 0, &out);
    has("no tank asks for it in these days");
}

static void of_a_salt(void **state)
{
    (void)state;
    struct week_page p = page_of();
    struct text out = begun();
    week_sums_salt(&p, 0, &out);
    has("0.80 g  for 8.00 L of soft water\n");
    has("100.0 g on day -9 - 80.0 g in batches noted since = 20.0 g\n");
    has("a day: 4.000 g, by the batches noted\n");
    has("used up: 20.0 g / 4.000 g a day = 5 days, day +5\n");
}

static void of_a_source(void **state)
{
    (void)state;
    struct week_page p = page_of();
    struct text out = begun();
    struct source_water *w = &room.sources[0].water;
    room.sources[0].short_l = 2.5;
    room.sources[0].short_at = (utc_t){ SUNDAY + DAYS(3) };
    w->rejection = 0.982;
    w->rejection_sd = 0.001;
    w->feed_ec = 512;
    w->feed_t = (utc_t){ SUNDAY - DAYS(40) };
    w->wear = SOURCE_WEARING;
    w->trend = (struct source_trend){ 0.25, 0.05, 20 };
    w->exhausted = (utc_t){ SUNDAY + DAYS(84) };
    w->early = (utc_t){ SUNDAY + DAYS(60) };
    w->values[Q_GH] = (struct source_value){ 0.1, 0.5, ORIGIN_HAND, { SUNDAY - DAYS(3) }, 0, 0.2, 3 };
    week_sums_source(&p, 0, &out);
    has("a full container of 30 L, then 20 L a day for 6 days");
    has("day by day 2.5 L are missing, first on day +3");
    has("ec   9.1 µS/cm, by the probe, day +0\n");
    has("gh   0.10 °dH, by the test, day -3; 3 tests within a year, 0 to 0.2\n");
    has("holds back 1 - 9.10 / 512 = 98.2 % (give or take 0.2); the feed is of day -40\n");
    has("EC moves by +0.250 a day (give or take 0.100), over 20 days of its probe\n");
    has("worn out at 30 µS/cm: (30 - 9.10) / 0.250 a day = 84 days, day +84\n");
    has("between day +60 and never");
    room.source_count = 0;
    out = begun();
    week_sums_source(&p, 0, &out);
    has("nothing is taken from it in these days");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(of_a_water, fill),
        cmocka_unit_test_setup(of_one_that_stands_mixed_and_is_blended, fill),
        cmocka_unit_test_setup(of_one_that_cannot_be_mixed, fill),
        cmocka_unit_test_setup(of_a_salt, fill),
        cmocka_unit_test_setup(of_a_source, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
