/* A made-up room as its week is shown: a source, a salt, a water, two tanks that each change 4 L; days count
 * from its Sunday. For the tests of the show layer. */
#ifndef LENTIC_TESTS_WEEK_SHOWN_H
#define LENTIC_TESTS_WEEK_SHOWN_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "show/week_page.h"

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

static inline const char *day(utc_t t, char *out, size_t cap)
{
    (void)snprintf(out, cap, "day %+lld", (long long)((t.ms - SUNDAY) / MS_PER_DAY));
    return out;
}

static inline void fill_tank(int i)
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

static inline int fill(void **state)
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

static inline struct week_page page_of(void)
{
    return (struct week_page){ &site, weeks, 2, &room, day, 100 };
}

static inline void has(const char *piece)
{
    if (strstr(buf, piece) == NULL)
        fail_msg("no \"%s\" in:\n%s", piece, buf);
}

#endif
