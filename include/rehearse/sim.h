/* The simulated room as a whole: climate, basins, keeper, faults and senders, moved on by one clock that the
 * caller gives. Deterministic: one seed, one site, one start and one list of faults give the same messages
 * whatever the steps. A fault leaves the dice of everything else alone. */
#ifndef LENTIC_REHEARSE_SIM_H
#define LENTIC_REHEARSE_SIM_H

#include <stdint.h>
#include "rehearse/mishap.h"

struct sim;

struct sim_options {
    uint64_t seed;
    utc_t start;
    const struct mishap *faults; /* copied */
    int fault_count;
    bool service;         /* the keeper tells some of the water changes to BASE/do/service and BASE/do/note */
    bool tests;           /* the keeper measures each tank's conductivity about weekly, to BASE/do/note */
    bool rough;           /* cheap heaters: dials are off, and every second one regulates in pulses */
    double least_every_s; /* no sender more often than that; 0: as configured */
};

/* One message. Pointers live until the next step. */
struct sim_message {
    utc_t t; /* when it arrives */
    const char *topic, *payload;
    size_t payload_len;
    int qos;
    bool retain; /* published with the retain flag */
    bool replay; /* an old retained message that the broker repeats to a new subscriber */
};

typedef void sim_hear(void *context, const struct sim_message *m);

/* What is really so in a tank. */
struct sim_truth {
    double temp_c, ec25_us_cm, ph, level_mm, water_l;
    double heater_w;
    bool heater_on, heater_wanted; /* wanted: by its thermostat */
    uint32_t faults;               /* bit per mishap_kind, of those that touch the tank now */
    bool left[Q_COUNT];            /* outside the tank's band: temp, ec, ph, level */
};

/* The site must outlive it. Never NULL. */
struct sim *sim_init(const struct site *site, const struct sim_options *options);
void sim_fini(struct sim *sim);

/* Moves on by dt_s >= 0 and hands out every message that falls due; hear may be NULL. */
void sim_advance(struct sim *sim, double dt_s, sim_hear *hear, void *context);

/* Own times of the payloads from now on, instead of the simulated time; UTC_NONE: simulated. For publishing
 * faster than life, where simulated times would run ahead of every clock. */
void sim_set_own_time(struct sim *sim, utc_t own);

utc_t sim_utc(const struct sim *sim);
double sim_room_c(const struct sim *sim);
struct sim_truth sim_truth(const struct sim *sim, int tank);

#endif
