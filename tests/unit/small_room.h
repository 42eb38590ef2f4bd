/* A site made by hand for the tests of the simulated room: two tanks of one water on one rack and circuit,
 * one purified source, and the three usual makes of probe. */
#ifndef LENTIC_TESTS_SMALL_ROOM_H
#define LENTIC_TESTS_SMALL_ROOM_H

#include <math.h>
#include <string.h>
#include "model/site.h"

#define ROOM_TANKS   2
#define ROOM_PLACES  7
#define ROOM_ENTRIES 5

struct small_room {
    struct site site;
    struct place places[ROOM_PLACES];
    struct tank tanks[ROOM_TANKS];
    struct water water;
    struct probe_entry entries[ROOM_ENTRIES];
    struct probe_value plain, nested[2], document[3], room, power;
    int tank_a[1], tank_b[1], room_at[1], circuit_at[1], both[2];
};

static inline struct probe_value small_value(const char *at, enum quantity q, double every_s)
{
    struct probe_value v = { .at = at,
                             .quantity = q,
                             .unit = { 1, 0, quantity_info(q)->kind },
                             .compensated = true,
                             .alpha = NAN,
                             .calib = CALIB_IDENTITY,
                             .every_s = every_s,
                             .stale_s = NAN };
    return v;
}

static inline void small_tank(struct small_room *r, int i, const char *id, double volume_l, double topoff)
{
    struct tank *t = &r->tanks[i];
    *t = (struct tank){ .id = id,
                        .name = id,
                        .place = 1 + i,
                        .volume_l = volume_l,
                        .water = 0,
                        .stock = -1,
                        .rack = 3,
                        .circuit = 4,
                        .heater_w = 50,
                        .setpoint_c = 24,
                        .lid = i == 0,
                        .topoff_l_day = topoff,
                        .change_l_week = NAN };
    for (int q = 0; q < Q_COUNT; q++) {
        t->band[q] = (struct span){ NAN, NAN };
        t->day_range[q] = t->per_hour[q] = t->step[q] = NAN;
    }
    t->band[Q_TEMP] = (struct span){ 21, 27 };
}

static inline void small_entry(struct small_room *r, int i, const char *topic, struct probe_value *values,
                               int count, int *places, int place_count)
{
    r->entries[i] = (struct probe_entry){ .topic = topic,
                                          .place = -1,
                                          .capture = PLACE_TANK,
                                          .qos = 1,
                                          .values = values,
                                          .value_count = count,
                                          .places = places,
                                          .place_count = place_count,
                                          .line = i + 1 };
}

static inline void small_probes(struct small_room *r)
{
    r->plain = small_value(NULL, Q_TEMP, 10);
    r->plain.missing[0] = 85;
    r->plain.missing_count = 1;
    r->nested[0] = small_value("/t/water", Q_TEMP, 30);
    r->nested[0].unit = (struct unit){ 5.0 / 9, -160.0 / 9, UNIT_TEMP };
    r->nested[1] = small_value("/ec", Q_EC, 30);
    r->nested[1].unit = (struct unit){ 1000, 0, UNIT_EC };
    r->nested[1].compensated = false;
    r->document[0] = small_value("/temp", Q_TEMP, 60);
    r->document[1] = small_value("/ec", Q_EC, 60);
    r->document[2] = small_value("/ph", Q_PH, 60);
    r->room = small_value(NULL, Q_TEMP, 60);
    r->power = small_value(NULL, Q_POWER, 60);
    small_entry(r, 0, "probes/{tank}/temp", &r->plain, 1, r->both, 2);
    small_entry(r, 1, "rack/{tank}/state", r->nested, 2, r->tank_a, 1);
    r->entries[1].time_at = "/at";
    r->entries[1].time_form = TIME_FORM_S;
    small_entry(r, 2, "doc/{tank}", r->document, 3, r->tank_b, 1);
    r->entries[2].time_at = "/time";
    small_entry(r, 3, "probes/room/temp", &r->room, 1, r->room_at, 1);
    small_entry(r, 4, "mains/c1/power", &r->power, 1, r->circuit_at, 1);
}

static inline void small_room_init(struct small_room *r)
{
    static const struct place places[ROOM_PLACES] = {
        { PLACE_ROOM, "room", "room", "room", -1 },        { PLACE_TANK, "a1", "tank/a1", "a1", 0 },
        { PLACE_TANK, "b1", "tank/b1", "b1", 1 },          { PLACE_RACK, "r1", "rack/r1", "r1", -1 },
        { PLACE_CIRCUIT, "c1", "circuit/c1", "c1", -1 },   { PLACE_SOURCE, "ro", "source/ro", "ro", -1 },
        { PLACE_WATER, "soft", "water/soft", "soft", -1 },
    };
    memset(r, 0, sizeof *r);
    memcpy(r->places, places, sizeof places);
    for (int q = 0; q < Q_COUNT; q++)
        r->water.target[q] = r->water.drift[q] = NAN;
    r->water.id = r->water.name = "soft";
    r->water.target[Q_EC] = 320;
    r->water.target[Q_PH] = 6.6;
    r->water.tds_per_ec = NAN;
    r->water.source = 5;
    small_tank(r, 0, "a1", 30, NAN);
    small_tank(r, 1, "b1", 20, 0.5);
    r->tank_a[0] = 1;
    r->tank_b[0] = 2;
    r->both[0] = 1;
    r->both[1] = 2;
    r->room_at[0] = 0;
    r->circuit_at[0] = 4;
    small_probes(r);
    r->site = (struct site){ .id = "millrace",
                             .name = "Millrace hatchery",
                             .altitude_m = 0,
                             .meter_scale = NAN,
                             .publish = { .base = "lentic/millrace" },
                             .places = r->places,
                             .place_count = ROOM_PLACES,
                             .room_place = 0,
                             .service_place = -1,
                             .waters = &r->water,
                             .water_count = 1,
                             .tanks = r->tanks,
                             .tank_count = ROOM_TANKS,
                             .entries = r->entries,
                             .entry_count = ROOM_ENTRIES };
}

#endif
