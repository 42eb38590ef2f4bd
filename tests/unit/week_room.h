/* A made-up room for the tests of the week: a source, two salts, two waters, four tanks; a tank's report as
 * probes and hand tests would give it. All its numbers are chosen to be worked by hand. */
#ifndef LENTIC_TESTS_WEEK_ROOM_H
#define LENTIC_TESTS_WEEK_ROOM_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "plan/room_week.h"
#include "plan/tank_week.h"
#include "near.h"

#define SUNDAY  INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */
#define DAYS(n) ((int64_t)((n) * (double)MS_PER_DAY))

#define WEEK_TANKS  4
#define PLACES_MADE (3 + WEEK_TANKS + 3) /* the last three: of tests that need them */

struct week_room_made {
    struct site site;
    struct place places[PLACES_MADE];
    struct source sources[3];
    struct salt salts[2];
    struct recipe_part recipes[2][2];
    struct water waters[2];
    struct tank tanks[WEEK_TANKS];
    int first_stream[PLACES_MADE * Q_COUNT];
    struct diary diary;
    struct diary_tank diary_tanks[WEEK_TANKS];
    struct diary_water diary_waters[2];
    struct diary_salt diary_salts[2];
    struct diary_source diary_sources[3];
    struct diary_store diary_stores[2];
    struct container stores[2];
    struct tank_report reports[WEEK_TANKS];
    struct week_tank weeks[WEEK_TANKS];
    struct week_room week;
};

static struct week_room_made r;

static inline void make_tank(int i)
{
    static const char *const ids[WEEK_TANKS] = { "a1", "a2", "b1", "b2" };
    static const char *const texts[WEEK_TANKS] = { "tank/a1", "tank/a2", "tank/b1", "tank/b2" };
    struct tank *t = &r.tanks[i];
    r.places[3 + i] = (struct place){ PLACE_TANK, ids[i], texts[i], ids[i], i };
    *t = (struct tank){ .id = ids[i],
                        .name = ids[i],
                        .place = 3 + i,
                        .volume_l = 40,
                        .water = i < 2 ? 0 : 1,
                        .stock = -1,
                        .rack = -1,
                        .circuit = -1,
                        .heater_w = NAN,
                        .setpoint_c = NAN,
                        .topoff_l_day = NAN,
                        .change_l_week = NAN,
                        .change_every_d = NAN,
                        .reservoir_l = NAN };
    for (int q = 0; q < Q_COUNT; q++) {
        t->band[q] = (struct span){ NAN, NAN };
        t->day_range[q] = t->per_hour[q] = t->step[q] = NAN;
    }
}

static inline struct value_report value_made(enum value_origin origin, double v, int64_t age_ms)
{
    return (struct value_report){ .origin = origin,
                                  .value = v,
                                  .t = { SUNDAY - age_ms },
                                  .flag = FLAG_GOOD,
                                  .per_day = NAN,
                                  .day_lo = NAN,
                                  .day_hi = NAN };
}

static inline void make_report(int i)
{
    struct tank_report *p = &r.reports[i];
    memset(p, 0, sizeof *p);
    p->tank = i;
    p->t = (utc_t){ SUNDAY };
    for (int q = 0; q < Q_COUNT; q++)
        p->values[q] = value_made(ORIGIN_NONE, NAN, 0);
    for (int d = 0; d < DERIVED_COUNT; d++)
        p->derived[d] = value_made(ORIGIN_NONE, NAN, 0);
    p->solids = (struct solids_report){ NAN, NAN, 0, NAN, false };
    p->last_change = UTC_NONE;
}

/* soft: 200 uS/cm, 4 GH, 0 KH from "hard" 0.1 g/L; middling: 400, 8, 4 from 0.2 g/L of it and 0.1 g/L of
 * "soda". */
static inline int week_room_init(void **state)
{
    (void)state;
    memset(&r, 0, sizeof r);
    r.places[0] = (struct place){ PLACE_ROOM, "room", "room", "room", -1 };
    r.places[1] = (struct place){ PLACE_SERVICE, "lentic", "lentic", "lentic", -1 };
    r.places[2] = (struct place){ PLACE_SOURCE, "ro", "source/ro", "purified", -1 };
    r.sources[0] = (struct source){ .place = 2, .makes_l_day = 20, .store_l = 30, .feed = -1 };
    r.salts[0] = (struct salt){ .id = "hard",
                                .name = "Hard",
                                .gh = 40,
                                .kh = 0,
                                .ec = 2000,
                                .tds = 800,
                                .stock_g = 100,
                                .stock_since = UTC_NONE };
    r.salts[1] = (struct salt){ .id = "soda",
                                .name = "Soda",
                                .gh = 0,
                                .kh = 40,
                                .ec = 0,
                                .tds = 700,
                                .stock_g = NAN,
                                .stock_since = UTC_NONE };
    r.recipes[0][0] = r.recipes[1][0] = (struct recipe_part){ 0, 0.1 };
    r.recipes[1][0].g_per_l = 0.2;
    r.recipes[1][1] = (struct recipe_part){ 1, 0.1 };
    for (int i = 0; i < 2; i++) {
        struct water *w = &r.waters[i];
        *w = (struct water){ .id = i == 0 ? "soft" : "middling",
                             .name = i == 0 ? "soft water" : "middling water",
                             .tds_per_ec = NAN,
                             .recipe = r.recipes[i],
                             .recipe_count = 1 + i,
                             .source = 2,
                             .blend = -1 };
        for (int q = 0; q < Q_COUNT; q++)
            w->target[q] = w->drift[q] = NAN;
        w->target[Q_EC] = 200 * (i + 1);
        w->target[Q_GH] = 4 * (i + 1);
        w->target[Q_KH] = 4 * i;
        w->drift[Q_EC] = 20 * (i + 1);
        w->drift[Q_GH] = i + 1;
    }
    for (int i = 0; i < WEEK_TANKS; i++) {
        make_tank(i);
        make_report(i);
    }
    for (size_t i = 0; i < sizeof r.first_stream / sizeof *r.first_stream; i++)
        r.first_stream[i] = -1;
    r.site = (struct site){ .id = "millrace",
                            .name = "Millrace",
                            .places = r.places,
                            .place_count = 3 + WEEK_TANKS,
                            .sources = r.sources,
                            .source_count = 1,
                            .salts = r.salts,
                            .salt_count = 2,
                            .waters = r.waters,
                            .water_count = 2,
                            .tanks = r.tanks,
                            .tank_count = WEEK_TANKS,
                            .first_stream = r.first_stream,
                            .plan = { .days = 7, .most_share = 0.3, .stage_d = 1, .no3_most = 20 } };
    for (int q = 0; q < Q_COUNT; q++)
        r.site.plan.test_every_d[q] = r.site.plan.calibrate_every_d[q] = NAN;
    r.site.plan.test_every_d[Q_GH] = 14;
    r.diary = (struct diary){ &r.site,       { SUNDAY },      r.diary_tanks, r.diary_waters,
                              r.diary_salts, r.diary_sources, r.diary_stores };
    for (int i = 0; i < 3; i++)
        r.diary_sources[i].live = SOURCE_LIVE_NONE;
    r.diary_stores[0].level_mm = r.diary_stores[1].level_mm = NAN;
    for (int i = 0; i < 3; i++)
        r.sources[i].feed = -1;
    diary_init(&r.diary);
    return 0;
}

static inline void note(enum journal_kind kind, const char *place, int64_t age_ms, double litres)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = kind;
    e.id = 1;
    e.at = e.written = (utc_t){ SUNDAY - age_ms };
    (void)snprintf(e.place, sizeof e.place, "%s", place);
    e.litres = litres;
    diary_take(&r.diary, &e);
}

static inline __attribute__((unused)) const struct week_tank *week_of(int tank, double room_c, int days)
{
    tank_week_eval(&r.site, &r.reports[tank], &r.diary, room_c, days, &r.weeks[tank]);
    return &r.weeks[tank];
}

static inline const struct week_room *week_of_room(double room_c, int days)
{
    for (int i = 0; i < WEEK_TANKS; i++)
        (void)week_of(i, room_c, days);
    room_week_eval(&r.site, r.weeks, &r.diary, NULL, &r.week);
    return &r.week;
}

static inline bool remarks_on(const struct week_remark *remarks, int count, const char *word)
{
    for (int i = 0; i < count; i++)
        if (strstr(remarks[i].text, word) != NULL)
            return true;
    return false;
}

#endif
