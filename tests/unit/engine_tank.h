/* One tank with plain probes of temp, ec and ph and an engine around it, for tests of what the engine makes
 * of readings. Cadence a minute; limits of the gate wide open unless the test says otherwise. */
#ifndef LENTIC_TESTS_ENGINE_TANK_H
#define LENTIC_TESTS_ENGINE_TANK_H

#include <math.h>
#include <string.h>
#include "engine/engine.h"
#include "model/site.h"

enum { TANK_TEMP, TANK_EC, TANK_PH, TANK_STREAMS };

struct engine_tank {
    struct site site;
    struct place places[3];
    struct tank tank;
    struct water water;
    struct salt salts[1];
    struct recipe_part recipe[1];
    struct probe_entry entries[TANK_STREAMS];
    struct probe_value values[TANK_STREAMS];
    int at_tank[1];
    struct engine *engine;
    struct now now;
    struct effects fx;
};

static inline void engine_tank_probe(struct engine_tank *w, int i, const char *topic, enum quantity q)
{
    w->values[i] = (struct probe_value){ .quantity = q,
                                         .unit = unit_stored(quantity_info(q)->kind),
                                         .compensated = true,
                                         .alpha = NAN,
                                         .calib = CALIB_IDENTITY,
                                         .every_s = 60,
                                         .stale_s = NAN,
                                         .gate = quantity_info(q)->gate };
    struct gate_limits *g = &w->values[i].gate;
    g->spike_suspect = g->spike_fail = g->rate_suspect = g->rate_fail = g->flat_tol = NAN;
    w->entries[i] = (struct probe_entry){ .topic = topic,
                                          .place = 1,
                                          .values = &w->values[i],
                                          .value_count = 1,
                                          .places = w->at_tank,
                                          .place_count = 1,
                                          .qos = 1 };
}

/* Change the site between this and engine_tank_start. */
static inline void engine_tank_init(struct engine_tank *w)
{
    static const struct place places[3] = { { PLACE_ROOM, "room", "room", "room", -1 },
                                            { PLACE_TANK, "a1", "tank/a1", "a1", 0 },
                                            { PLACE_SERVICE, "lentic", "lentic", "lentic", -1 } };
    memset(w, 0, sizeof *w);
    memcpy(w->places, places, sizeof places);
    w->at_tank[0] = 1;
    w->tank = (struct tank){ .id = "a1",
                             .name = "a1",
                             .place = 1,
                             .volume_l = 30,
                             .stock = -1,
                             .rack = -1,
                             .circuit = -1,
                             .heater_w = NAN,
                             .setpoint_c = NAN };
    for (int q = 0; q < Q_COUNT; q++) {
        w->tank.band[q] = (struct span){ NAN, NAN };
        w->tank.day_range[q] = w->tank.per_hour[q] = w->tank.step[q] = NAN;
        w->water.target[q] = w->water.drift[q] = NAN;
    }
    w->salts[0] = (struct salt){ .id = "mix", .gh = 38, .kh = 20, .ec = 1650, .tds = 820 };
    w->recipe[0] = (struct recipe_part){ 0, 0.2 };
    w->water.id = w->water.name = "soft";
    w->water.tds_per_ec = NAN;
    w->water.source = -1;
    w->water.recipe = w->recipe;
    w->water.recipe_count = 1;
    engine_tank_probe(w, TANK_TEMP, "p/temp", Q_TEMP);
    engine_tank_probe(w, TANK_EC, "p/ec", Q_EC);
    engine_tank_probe(w, TANK_PH, "p/ph", Q_PH);
    w->site = (struct site){ .id = "millrace",
                             .name = "Millrace",
                             .meter_scale = NAN,
                             .publish = { .base = "lentic/millrace" },
                             .places = w->places,
                             .place_count = 3,
                             .service_place = 2,
                             .salts = w->salts,
                             .salt_count = 1,
                             .waters = &w->water,
                             .water_count = 1,
                             .tanks = &w->tank,
                             .tank_count = 1,
                             .entries = w->entries,
                             .entry_count = TANK_STREAMS };
    for (int q = 0; q < Q_COUNT; q++)
        w->site.plan.calibrate_every_d[q] = w->site.plan.test_every_d[q] = NAN;
    w->site.plan.calibrate_every_d[Q_PH] = 30;
    w->site.plan.calibrate_every_d[Q_EC] = 90;
    w->now = (struct now){ { INT64_C(1772366400000) }, { 1000 }, true }; /* 2026-03-01T12:00:00Z */
}

static inline void engine_tank_start(struct engine_tank *w)
{
    site_derive_streams(&w->site);
    site_derive_alerts(&w->site);
    w->engine = engine_init(&w->site, w->now);
}

static inline void engine_tank_fini(struct engine_tank *w)
{
    engine_fini(w->engine);
    site_fini(&w->site);
}

/* Time passes; what falls due runs. */
static inline void engine_tank_wait(struct engine_tank *w, int64_t ms)
{
    w->now.utc.ms += ms;
    w->now.mono.ms += ms;
    while (engine_advance(w->engine, w->now, true, &w->fx))
        continue;
}

static inline struct sample engine_tank_sample(int stream, double v)
{
    return (
        struct sample){ .stream = stream, .kind = SAMPLE_VALUE, .sent = v, .raw = v, .claimed = UTC_NONE };
}

static inline void engine_tank_send(struct engine_tank *w, int stream, double v)
{
    struct sample s = engine_tank_sample(stream, v);
    while (engine_advance(w->engine, w->now, false, &w->fx))
        continue;
    engine_ingest(w->engine, &s, false, w->now, &w->fx);
}

static inline void engine_tank_all(struct engine_tank *w, double temp, double ec, double ph)
{
    engine_tank_send(w, TANK_TEMP, temp);
    engine_tank_send(w, TANK_EC, ec);
    engine_tank_send(w, TANK_PH, ph);
}

static inline struct command engine_tank_command(enum command_verb verb)
{
    return (struct command){ .verb = verb,
                             .place = 1,
                             .alert = -1,
                             .minutes = NAN,
                             .quantity = Q_COUNT,
                             .value = NAN,
                             .at = UTC_NONE,
                             .stream = -1,
                             .gain = NAN,
                             .offset = NAN,
                             .back_to = UTC_NONE };
}

static inline enum status engine_tank_test(struct engine_tank *w, enum quantity q, double v, utc_t at)
{
    struct command c = engine_tank_command(COMMAND_NOTE);
    struct why why = { "" };
    journal_clear(&c.note);
    c.note.kind = JOURNAL_TEST;
    strcpy(c.note.place, "tank/a1");
    if (journal_put(&c.note, JOURNAL_VALUE, quantity_info(q)->name, v, NAN) != STATUS_OK)
        return STATUS_FULL;
    c.note.at = at;
    return engine_command(w->engine, &c, w->now, &w->fx, &why);
}

/* The alert of that name, "" for its place: a copy. */
static inline struct alert engine_tank_alert(const struct engine_tank *w, const char *ref)
{
    int slot = site_alert_find(&w->site, ref, strlen(ref));
    return *engine_alert(w->engine, slot);
}

#endif
