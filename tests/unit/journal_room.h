/* A made-up room for the tests of the journal: one water of two salts, three tanks on a rack, a source, a
 * kit.
 */
#ifndef LENTIC_TESTS_JOURNAL_ROOM_H
#define LENTIC_TESTS_JOURNAL_ROOM_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "model/journal.h"
#include "model/site.h"
#include "near.h"

#define NOON INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

struct journal_room {
    struct site site;
    struct place places[8];
    struct tank tanks[3];
    struct salt salts[2];
    struct recipe_part recipe[2];
    struct water waters[1];
    struct kit kits[1];
};

static inline void journal_room_init(struct journal_room *r)
{
    static const struct place places[8] = {
        { PLACE_ROOM, "room", "room", "room", -1 },
        { PLACE_SERVICE, "lentic", "lentic", "lentic", -1 },
        { PLACE_SOURCE, "ro", "source/ro", "purified", -1 },
        { PLACE_WATER, "soft", "water/soft", "soft water", -1 },
        { PLACE_RACK, "a", "rack/a", "rack a", -1 },
        { PLACE_TANK, "a1", "tank/a1", "a1", 0 },
        { PLACE_TANK, "a2", "tank/a2", "a2", 1 },
        { PLACE_TANK, "b1", "tank/b1", "b1", 2 },
    };
    memset(r, 0, sizeof *r);
    memcpy(r->places, places, sizeof places);
    for (int i = 0; i < 3; i++) {
        r->tanks[i] = (struct tank){ .id = places[5 + i].id,
                                     .name = places[5 + i].id,
                                     .place = 5 + i,
                                     .volume_l = 30,
                                     .water = 0,
                                     .stock = -1,
                                     .rack = i < 2 ? 4 : -1,
                                     .circuit = -1,
                                     .heater_w = NAN,
                                     .setpoint_c = NAN,
                                     .topoff_l_day = NAN,
                                     .change_l_week = NAN };
        for (int q = 0; q < Q_COUNT; q++)
            r->tanks[i].step[q] = r->tanks[i].per_hour[q] = r->tanks[i].day_range[q] = NAN;
    }
    r->salts[0] = (struct salt){
        .id = "hard", .name = "Hard", .gh = 30, .kh = 0, .ec = 1300, .tds = 800, .stock_g = NAN
    };
    r->salts[1] = (struct salt){
        .id = "soda", .name = "Soda", .gh = 0, .kh = 30, .ec = 1000, .tds = 700, .stock_g = NAN
    };
    r->recipe[0] = (struct recipe_part){ 0, 0.15 };
    r->recipe[1] = (struct recipe_part){ 1, 0.05 };
    r->waters[0] = (struct water){
        .id = "soft", .name = "Soft", .tds_per_ec = NAN, .recipe = r->recipe, .recipe_count = 2, .source = 2
    };
    for (int q = 0; q < Q_COUNT; q++)
        r->waters[0].target[q] = r->waters[0].drift[q] = r->kits[0].sd[q] = NAN;
    r->waters[0].target[Q_EC] = 245; /* 0.15 * 1300 + 0.05 * 1000 */
    r->waters[0].target[Q_GH] = 4.5;
    r->waters[0].target[Q_KH] = 1.5;
    r->kits[0].id = r->kits[0].name = "drops-1";
    r->kits[0].sd[Q_GH] = 0.3;
    r->site = (struct site){ .id = "millrace",
                             .name = "Millrace",
                             .publish = { .base = "lentic/millrace" },
                             .places = r->places,
                             .place_count = 8,
                             .service_place = 1,
                             .tanks = r->tanks,
                             .tank_count = 3,
                             .salts = r->salts,
                             .salt_count = 2,
                             .waters = r->waters,
                             .water_count = 1,
                             .kits = r->kits,
                             .kit_count = 1 };
}

static inline struct journal_entry journal_made(enum journal_kind kind, const char *place)
{
    struct journal_entry e;
    journal_clear(&e);
    e.kind = kind;
    e.at = e.written = (utc_t){ NOON };
    snprintf(e.place, sizeof e.place, "%s", place);
    return e;
}

static inline void journal_with(struct journal_entry *e, enum journal_role role, const char *name, double v)
{
    assert_int_equal(journal_put(e, role, name, v, NAN), STATUS_OK);
}

#endif
