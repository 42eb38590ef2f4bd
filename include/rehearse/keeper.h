/* The keeper of the simulated room, tank by tank: changes water about weekly, tops off by hand where no pump
 * does, mixes a batch of water now and then, with the small errors of scales and jugs. */
#ifndef LENTIC_REHEARSE_KEEPER_H
#define LENTIC_REHEARSE_KEEPER_H

#include <stdbool.h>
#include <stdint.h>
#include "rehearse/basin.h"
#include "rehearse/dice.h"

enum chore_phase { CHORE_REST, CHORE_DRAIN, CHORE_FILL };

/* Steps of a water change that someone may want to tell. */
enum chore_event { CHORE_NOTHING, CHORE_BEGUN, CHORE_DONE };

struct chore {
    enum chore_phase phase;
    double next_s; /* next water change, from the start */
    double litres; /* of this change */
    double left_l; /* still to draw or to fill */
    double new_ec, new_temp_c;
    double usual_l; /* litres of a usual change */
    double next_topoff_s;
    bool by_hand; /* tops off by hand */
    struct dice dice;
};

/* What the keeper works with. */
struct chore_world {
    double t_s;      /* from the start, at the end of the step */
    double batch_ec; /* the mixed water's, uS/cm at 25 */
    double topoff_ec;
    double room_c;
    bool topoff_stopped; /* nobody comes */
};

/* midnight_s: when the first midnight falls, from the start (0..86400). usual_l: litres a week. */
struct chore chore_init(uint64_t seed, int tank, double usual_l, bool by_hand, double midnight_s);

/* Mass is conserved exactly: what is drawn leaves as it is, what is filled has new_ec and new_temp_c. */
enum chore_event chore_advance(struct chore *c, struct basin *b, const struct chore_world *w, double dt_s);

/* Conductivity of the batch that is in use at that time: a new one each week, off by about 0.8 %. */
double keeper_batch_ec(uint64_t seed, int water, double target_ec, double t_s);

#endif
