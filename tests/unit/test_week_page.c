/* The page as a keeper reads it, and the sums below it. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/week_page.h"
#include "show/week_sums.h"

#define SUNDAY  INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */
#define DAYS(n) ((n)*MS_PER_DAY)

static struct place places[1] = { { PLACE_SOURCE, "ro", "source/ro", "purified water", -1 } };
static struct source sources[1] = { { .place = 0, .makes_l_day = 20, .store_l = 30, .feed = -1 } };
static struct salt salts[1] = {
    { .id = "mix", .name = "ready mix", .stock_g = 100, .stock_since = { SUNDAY - DAYS(9) } }
};
static struct water waters[1] = { { .id = "soft", .name = "soft water", .blend = -1 } };
static struct tank tanks[2] = { { .id = "a1", .name = "Crystals", .volume_l = 40, .change_l_week = 4 },
                                { .id = "a2", .name = "Tigers", .volume_l = 40, .change_l_week = 4 } };
static struct site site = { .id = "mill",
                            .name = "Millrace",
                            .places = places,
                            .place_count = 1,
                            .sources = sources,
                            .source_count = 1,
                            .salts = salts,
                            .salt_count = 1,
                            .waters = waters,
                            .water_count = 1,
                            .tanks = tanks,
                            .tank_count = 2 };
static struct week_tank weeks[2];
static struct week_room room;
static char buf[16384];

static const char *day(utc_t t, char *out, size_t cap)
{
    (void)snprintf(out, cap, "day %+lld", (long long)((t.ms - SUNDAY) / MS_PER_DAY));
    return out;
}

static void fill_tank(int i)
{
    struct week_tank *w = &weeks[i];
    memset(w, 0, sizeof *w);
    w->tank = i;
    w->from = (utc_t){ SUNDAY };
    w->days = 7;
    w->most_share = 0.3;
    w->every_d = 7;
    w->litres_each = 4;
    w->last_change = (utc_t){ SUNDAY - DAYS(6) };
    w->topoff_l_day = w->reservoir_l = w->reservoir_lasts_d = NAN;
    w->reservoir_filled = w->reservoir_empty = UTC_NONE;
    w->stages[0] = (struct week_stage){ .at = { SUNDAY + DAYS(1 - i) },
                                        .litres = 4,
                                        .share = 0.1,
                                        .reason = WEEK_CALENDAR,
                                        .wanted = 0.1,
                                        .limit = NAN };
    w->stage_count = 1;
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        bool known = axis == WEEK_EC || axis == WEEK_TEMP;
        w->step[axis] = w->limit[axis].lo = w->limit[axis].hi = NAN;
        w->now[axis] =
            (struct week_value){ known ? 210 : NAN, known ? WEEK_PROBE : WEEK_UNKNOWN, { SUNDAY } };
        w->fresh[axis] = (struct week_value){ known ? 200 : NAN, WEEK_TARGET, UTC_NONE };
        w->stages[0].before[axis] = w->now[axis].value;
        w->stages[0].after[axis] = known ? 209 : NAN;
    }
    w->now[WEEK_TEMP].value = w->stages[0].before[WEEK_TEMP] = 22;
    w->fresh[WEEK_TEMP] = (struct week_value){ 20, WEEK_ROOM, { SUNDAY } };
    w->stages[0].after[WEEK_TEMP] = 21.8;
    w->stages[0].fresh_c = 20;
    w->tests[0] = (struct week_test){ Q_GH, UTC_NONE, { SUNDAY }, 14 };
    w->test_count = 1;
    week_remark(w->remarks, &w->remark_count, WEEK_ASSUMED, "no value of general hardness: %d °dH is assumed",
                4 + i);
    week_remark(w->remarks, &w->remark_count, WEEK_MISSING, "no level probe");
}

static int fill(void **state)
{
    (void)state;
    fill_tank(0);
    fill_tank(1);
    memset(&room, 0, sizeof room);
    room.from = (utc_t){ SUNDAY };
    room.days = 7;
    room.waters[0] = (struct week_water){ .water = 0,
                                          .litres = 8,
                                          .mix_l = 8,
                                          .store = -1,
                                          .tanks = 2,
                                          .first = { SUNDAY },
                                          .mixed = true,
                                          .parts = { { 0, 0.8, 0.8 } },
                                          .part_count = 1,
                                          .ec = 200,
                                          .ec_sd = 6,
                                          .gh = 4,
                                          .kh = 0 };
    room.water_count = 1;
    room.salts[0] = (struct week_salt){ .salt = 0,
                                        .grams = 0.8,
                                        .left_g = 20,
                                        .used_g = 80,
                                        .per_day = 4,
                                        .by_batches = true,
                                        .out = { SUNDAY + DAYS(5) } };
    room.salt_count = 1;
    room.sources[0] = (struct week_source){ .mix_l = 8, .gives_l = 150, .short_at = UTC_NONE };
    struct source_water *water = &room.sources[0].water;
    *water = (struct source_water){ .t = { SUNDAY },
                                    .rejection = NAN,
                                    .rejection_sd = NAN,
                                    .feed_ec = NAN,
                                    .feed_t = UTC_NONE,
                                    .trend = { 0.01, 0.02, 20 },
                                    .exhausted_ec = 30,
                                    .wear = SOURCE_STEADY,
                                    .exhausted = UTC_NONE,
                                    .early = UTC_NONE,
                                    .late = UTC_NONE };
    for (int q = 0; q < Q_COUNT; q++)
        water->values[q] = (struct source_value){ NAN, NAN, ORIGIN_NONE, UTC_NONE, NAN, NAN, 0 };
    water->values[Q_EC] = (struct source_value){ 9.1, NAN, ORIGIN_PROBE, { SUNDAY }, NAN, NAN, 0 };
    room.source_count = 1;
    return 0;
}

static const char *page(void)
{
    struct week_page p = { &site, weeks, 2, &room, day, 100 };
    struct text out = text_over(buf, sizeof buf);
    week_page_put(&p, &out);
    assert_false(out.cut);
    return buf;
}

static void the_page(void **state)
{
    (void)state;
    static const char want[] =
        "Millrace: day +0 to day +6\n"
        "\n"
        "Water changes, with the step that each makes\n"
        "  when        tank  litres  water      EC      GH      KH      °C  why\n"
        "  today       a2       4.0  soft       -1       –       –    -0.2  calendar: every 7 days, the "
        "last\n"
        "                                                                   was 6 days before\n"
        "  day +1      a1       4.0  soft       -1       –       –    -0.2  calendar: every 7 days, the "
        "last\n"
        "                                                                   was 7 days before\n"
        "\n"
        "To prepare, until then\n"
        "  today       8.0 L of soft water for 2 tanks: weigh 0.80 g of ready mix; expect EC 200 (give or\n"
        "              take 12), GH 4.0, KH 0.0\n"
        "\n"
        "Source water\n"
        "  ro          8.0 L: 8.0 to mix, 0.0 to top off; it gives 150 L in these days, enough. Its water:\n"
        "              9.1 µS/cm; steady\n"
        "\n"
        "Salts\n"
        "  mix         0.80 g of ready mix; 20 g there, used up about day +5\n"
        "\n"
        "To test by hand (lentic note TANK gh=5)\n"
        "  today       general hardness (gh) in a1 a2: never noted\n"
        "\n"
        "To know\n"
        "  a1 a2: no value of general hardness: assumed (--why tells what)\n"
        "  a1 a2: no level probe\n";
    assert_string_equal(page(), want);
}

static void what_is_short_is_loud(void **state)
{
    (void)state;
    room.salts[0].short_now = true;
    room.sources[0].short_l = 3.4;
    room.sources[0].short_at = (utc_t){ SUNDAY + DAYS(2) };
    room.sources[0].unknown_topoffs = 2;
    weeks[0].later = 3;
    weeks[0].stages[0].brought = true;
    weeks[0].topoff_l_day = 0.5;
    weeks[0].reservoir_l = 5;
    weeks[0].reservoir_lasts_d = 10;
    weeks[0].reservoir_filled = (utc_t){ SUNDAY - DAYS(11) };
    weeks[0].reservoir_empty = (utc_t){ SUNDAY - DAYS(1) };
    const char *s = page();
    assert_non_null(strstr(s, "NOT ENOUGH for these days: buy now"));
    assert_non_null(strstr(s, "SHORT of 3.4 L, first day +2"));
    assert_non_null(strstr(s, "(not known for 2 tanks)"));
    assert_non_null(strstr(s, "a1: 3 more stages after these days"));
    assert_non_null(strstr(s, "look\n"));
    assert_non_null(strstr(s, "bring the"));
    assert_non_null(strstr(s, "filled day -11:"));
}

static void nothing_to_do(void **state)
{
    (void)state;
    memset(&room.waters, 0, sizeof room.waters);
    room.water_count = room.salt_count = room.source_count = 0;
    for (int i = 0; i < 2; i++)
        weeks[i].stage_count = weeks[i].test_count = weeks[i].remark_count = 0;
    assert_string_equal(page(), "Millrace: day +0 to day +6\n\nNo water change is due in these days.\n");
}

static void the_sums(void **state)
{
    (void)state;
    struct week_page p = { &site, weeks, 2, &room, day, 100 };
    struct text out = text_over(buf, sizeof buf);
    weeks[0].step[WEEK_EC] = 5;
    week_sums_tank(&p, 0, &out);
    week_sums_water(&p, 0, &out);
    week_sums_salt(&p, 0, &out);
    week_sums_source(&p, 0, &out);
    assert_false(out.cut);
    assert_non_null(strstr(buf, "day +1: 10.0 % of 40 L = 4.00 L"));
    assert_non_null(strstr(buf, "EC   210.0 + 10.0 % x (200.0 - 210.0) = 209.0, a step of -1.0 of 5"));
    assert_non_null(strstr(buf, "temp 22.00 + 10.0 % x (20.00 - 22.00) = 21.80, a step of -0.20\n"));
    assert_non_null(strstr(buf, "4 L a week x 7 days / 7 = 4.00 L each time; last day -6 + 7 days = day +1"));
    assert_non_null(strstr(buf, "4.00 L  a2, today"));
    assert_non_null(strstr(buf, "0.80 g  ready mix: 8.00 L x 0.1000 g/L"));
    assert_non_null(strstr(buf, "100.0 g on day -9 - 80.0 g in batches noted since = 20.0 g"));
    assert_non_null(strstr(buf, "used up: 20.0 g / 4.000 g a day = 5 days, day +5"));
    assert_non_null(strstr(buf, "a full container of 30 L, then 20 L a day for 6 days"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(the_page, fill),
        cmocka_unit_test_setup(what_is_short_is_loud, fill),
        cmocka_unit_test_setup(nothing_to_do, fill),
        cmocka_unit_test_setup(the_sums, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
