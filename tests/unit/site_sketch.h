/* A small site for tests of wire: four tanks of two racks, a room, a source. Entries are given by the test;
 * their places follow from the patterns as the loader would find them. */
#ifndef SITE_SKETCH_H
#define SITE_SKETCH_H

#include <math.h>
#include <string.h>

#include "model/pattern.h"
#include "model/site.h"

enum {
    AT_ROOM,
    AT_SERVICE,
    AT_RACK_A,
    AT_RACK_B,
    AT_CIRCUIT,
    AT_SOURCE,
    AT_A1,
    AT_A2,
    AT_B1,
    AT_B2,
    AT_COUNT
};

static struct place sketch_places[AT_COUNT] = {
    [AT_ROOM] = { PLACE_ROOM, "room", "room", "room", -1 },
    [AT_SERVICE] = { PLACE_SERVICE, "lentic", "lentic", "lentic", -1 },
    [AT_RACK_A] = { PLACE_RACK, "ra", "rack/ra", "left rack", -1 },
    [AT_RACK_B] = { PLACE_RACK, "rb", "rack/rb", "right rack", -1 },
    [AT_CIRCUIT] = { PLACE_CIRCUIT, "c1", "circuit/c1", "circuit 1", -1 },
    [AT_SOURCE] = { PLACE_SOURCE, "pure", "source/pure", "purified water", -1 },
    [AT_A1] = { PLACE_TANK, "a1", "tank/a1", "Mill pond", 0 },
    [AT_A2] = { PLACE_TANK, "a2", "tank/a2", "a2", 1 },
    [AT_B1] = { PLACE_TANK, "b1", "tank/b1", "b1", 2 },
    [AT_B2] = { PLACE_TANK, "b2", "tank/b2", "b2", 3 },
};

static struct tank sketch_tanks[4] = {
    { .id = "a1",
      .name = "Mill pond",
      .place = AT_A1,
      .water = -1,
      .stock = -1,
      .rack = AT_RACK_A,
      .circuit = AT_CIRCUIT },
    { .id = "a2", .name = "a2", .place = AT_A2, .water = -1, .stock = -1, .rack = AT_RACK_A, .circuit = -1 },
    { .id = "b1", .name = "b1", .place = AT_B1, .water = -1, .stock = -1, .rack = AT_RACK_B, .circuit = -1 },
    { .id = "b2", .name = "b2", .place = AT_B2, .water = -1, .stock = -1, .rack = AT_RACK_B, .circuit = -1 },
};

static inline struct probe_value sketch_value(const char *at, enum quantity q, const char *unit_name)
{
    struct probe_value v = {
        .at = at, .quantity = q, .unit_name = unit_name, .compensated = true, .calib = CALIB_IDENTITY
    };
    if (unit_find(unit_name, quantity_info(q)->kind, &v.unit) != STATUS_OK)
        v.unit = unit_stored(quantity_info(q)->kind);
    v.gate = quantity_info(q)->gate;
    v.alpha = v.every_s = v.stale_s = NAN;
    return v;
}

/* place: fixed, or -1: whatever the captures of the topic name. */
static inline struct probe_entry sketch_entry(struct arena *arena, const char *topic, int place,
                                              struct probe_value *values, int value_count)
{
    struct probe_entry e = { .topic = topic, .place = place, .values = values, .value_count = value_count };
    enum place_kind kind = PLACE_KIND_COUNT;
    e.places = arena_take(arena, AT_COUNT, sizeof *e.places);
    if (pattern_check(topic, &kind, NULL) == STATUS_OK && place < 0)
        for (int p = 0; p < AT_COUNT; p++)
            if (sketch_places[p].kind == kind &&
                pattern_serves(topic, &(struct site){ .places = sketch_places, .tanks = sketch_tanks }, p))
                e.places[e.place_count++] = p;
    if (place >= 0)
        e.places[e.place_count++] = place;
    return e;
}

static inline struct site sketch_site(struct probe_entry *entries, int entry_count)
{
    for (int i = 0; i < 4; i++) {
        struct tank *tank = &sketch_tanks[i];
        tank->volume_l = 30;
        tank->heater_w = 50;
        tank->setpoint_c = 24;
        tank->topoff_l_day = tank->change_l_week = NAN;
        for (int q = 0; q < Q_COUNT; q++) {
            tank->band[q] = (struct span){ NAN, NAN };
            tank->day_range[q] = tank->per_hour[q] = tank->step[q] = NAN;
        }
        tank->band[Q_TEMP] = (struct span){ 20.5, 26 };
        tank->band[Q_EC] = (struct span){ 250, NAN };
    }
    struct site site = { .id = "millrace",
                         .name = "Millrace hatchery",
                         .places = sketch_places,
                         .place_count = AT_COUNT,
                         .room_place = AT_ROOM,
                         .service_place = AT_SERVICE,
                         .tanks = sketch_tanks,
                         .tank_count = 4,
                         .entries = entries,
                         .entry_count = entry_count };
    site_derive_streams(&site);
    site_derive_alerts(&site);
    return site;
}

#endif
