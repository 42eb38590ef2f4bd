/* What hand tests say of a creep of the conductivity: does the probe creep, or the water? For the files of
 * this layer. */
#ifndef LENTIC_ENGINE_WITNESS_H
#define LENTIC_ENGINE_WITNESS_H

#include "engine/state.h"

enum solids_witness witness_climb(const struct engine *e, int tank, utc_t now);
enum solids_witness witness_sink(const struct engine *e, int tank, utc_t now);

#endif
