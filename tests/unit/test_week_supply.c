/* What is to be there, as the page says it. */
#include "show/week_supply.h"
#include "week_shown.h"

static void supply(void)
{
    struct week_page p = page_of();
    p.columns = 200;
    struct text out = text_over(buf, sizeof buf);
    week_supply_put(&p, &out);
    assert_false(out.cut);
}

static void what_stands_mixed(void **state)
{
    (void)state;
    struct week_water *w = &room.waters[0];
    w->stored_from = WEEK_STORED_BATCH;
    w->batch = 214;
    w->stored_l = 3;
    w->mix_l = 5;
    supply();
    has("8.0 L of soft water for 2 tanks; 3.0 L stand mixed (batch 214): take 5.0 L from ro, weigh 0.80 g");
    w->stored_l = 8;
    w->mix_l = 0;
    w->part_count = 0;
    supply();
    has("; enough stands mixed (batch 214)\n");
    assert_null(strstr(buf, "weigh"));
}

static void a_blend(void **state)
{
    (void)state;
    static struct place two[2] = { { PLACE_SOURCE, "ro", "source/ro", "purified water", -1 },
                                   { PLACE_SOURCE, "tap", "source/tap", "tap water", -1 } };
    static struct source both[2] = { { .place = 0, .feed = -1 }, { .place = 1, .feed = -1 } };
    site.places = two;
    site.place_count = site.source_count = 2;
    site.sources = both;
    waters[0].blend = 1;
    waters[0].blend_share = 0.25;
    supply();
    has(": take 6.0 L from ro and 2.0 L from tap, weigh 0.80 g of ready mix;");
    site.places = places;
    site.place_count = site.source_count = 1;
    site.sources = sources;
    waters[0].blend = -1;
}

static void what_cannot_be_mixed(void **state)
{
    (void)state;
    room.waters[0].mixed = false;
    (void)why_say(&room.waters[0].why, STATUS_NONE, "what tap holds is not known");
    supply();
    has("cannot be weighed: what tap holds is not known");
}

static void a_source_that_nobody_draws_from(void **state)
{
    (void)state;
    room.sources[0].mix_l = 0;
    supply();
    has("ro          nothing is taken in these days. Its water: 9.1 µS/cm; steady\n");
    room.sources[0].water.wear = SOURCE_WEAR_UNKNOWN;
    supply();
    assert_null(strstr(buf, "nothing is taken"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(what_stands_mixed, fill),
        cmocka_unit_test_setup(a_blend, fill),
        cmocka_unit_test_setup(what_cannot_be_mixed, fill),
        cmocka_unit_test_setup(a_source_that_nobody_draws_from, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
