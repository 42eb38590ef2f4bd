/* The inside of the simulated room: how it is made from a site, what acts on each tank, what each probe
 * meets. For rehearse/sim only. */
#ifndef LENTIC_REHEARSE_SIMSTATE_H
#define LENTIC_REHEARSE_SIMSTATE_H

#include "rehearse/basin.h"
#include "rehearse/climate.h"
#include "rehearse/keeper.h"
#include "rehearse/sim.h"
#include "rehearse/voice.h"

struct sim_tank {
    struct basin basin;
    struct chore chore;
    double air_k;                  /* its shelf against the room */
    double lights_from, lights_to; /* hours of the day */
    double lamp_w;                 /* from the mains; a part of it warms the water */
    double waste_us_day;
    double target_ec;     /* of its water */
    bool told;            /* the running water change was announced */
    bool batched;         /* the bad batch has reached it */
    double level_zero_mm; /* what the level probe shows when the tank is dry */
    double next_test_s;   /* by hand */
    struct dice tests;
    double batch_delay_s; /* how long after the bad batch is mixed its turn comes */
};

struct sim {
    struct arena arena;
    const struct site *site;
    struct sim_options options;
    struct mishap *faults;
    double t_s;    /* from the start; negative while settling */
    double owed_s; /* asked for, less than a tick */
    double hour;
    struct climate climate;
    struct sim_tank *tanks;
    struct voice *voices;
    int voice_count;
    struct voice_input *inputs; /* room for the largest entry */
    struct dice latency, gossip;
    double pen_gain; /* of the one meter that all hand tests are made with */
    utc_t own, arrived;
    bool begun;
    sim_hear *hear;
    void *context;
};

struct sim *simstate_make(const struct site *site, const struct sim_options *options);

/* What acts on the tank in this step, faults included. */
void simstate_world(const struct sim *sim, int tank, struct basin_world *world, struct chore_world *chores);

/* Whether a bad batch is due to be poured in now; true once for each tank. */
bool simstate_bad_batch_due(struct sim *sim, int tank);

/* What each value of the sender meets now. inputs: entry->value_count. */
void simstate_inputs(const struct sim *sim, const struct voice *v, struct voice_input *inputs);

#endif
