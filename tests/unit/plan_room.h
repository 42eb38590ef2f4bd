/* A made-up room for the tests of planning: three salts, three waters, three tanks. */
#ifndef LENTIC_TESTS_PLAN_ROOM_H
#define LENTIC_TESTS_PLAN_ROOM_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "model/site.h"
#include "near.h"

static struct salt salts[] = {
    { .id = "up", .name = "Up", .gh = 30, .kh = 2, .ec = 1300, .tds = 800, .stock_g = 5 },
    { .id = "soda", .name = "Soda", .composition = "KHCO3", .stock_g = 500 },
    { .id = "gypsum", .name = "Gypsum", .composition = "CaSO4.2H2O" },
};
static struct recipe_part weighed[] = { { 0, 0.15 } }, to_solve[] = { { 0, 0 }, { 1, 0 } };
static struct water waters[3];
static struct tank tanks[3];
static struct site site;

static int build(void **state)
{
    (void)state;
    double nan = (double)NAN;
    to_solve[0].g_per_l = to_solve[1].g_per_l = nan;
    salts[1].gh = salts[1].kh = salts[1].ec = salts[1].tds = nan;
    salts[2].gh = salts[2].kh = salts[2].ec = salts[2].tds = salts[2].stock_g = nan;
    for (int w = 0; w < 3; w++)
        for (int q = 0; q < Q_COUNT; q++)
            waters[w].target[q] = nan;
    waters[0].id = "soft";
    waters[0].recipe = weighed;
    waters[0].recipe_count = 1;
    waters[0].target[Q_EC] = 190;
    waters[0].target[Q_PH] = 6.4;
    waters[0].target[Q_TEMP] = 24;
    waters[1].id = "hard";
    waters[1].recipe = to_solve;
    waters[1].recipe_count = 2;
    waters[1].target[Q_GH] = 8;
    waters[1].target[Q_KH] = 4;
    waters[2].id = "any";
    for (int i = 0; i < 3; i++) {
        tanks[i] = (struct tank){ .id = "a", .volume_l = 30, .water = i == 2 ? 1 : 0, .topoff_l_day = nan };
        for (int q = 0; q < Q_COUNT; q++)
            tanks[i].per_hour[q] = tanks[i].step[q] = nan;
        tanks[i].change_l_week = i == 1 ? nan : 6;
    }
    tanks[0].topoff_l_day = 0.5;
    tanks[0].step[Q_EC] = 30;
    tanks[0].per_hour[Q_EC] = 50;
    tanks[0].per_hour[Q_TEMP] = 2;
    site = (struct site){
        .salts = salts, .salt_count = 3, .waters = waters, .water_count = 3, .tanks = tanks, .tank_count = 3
    };
    return 0;
}

#endif
