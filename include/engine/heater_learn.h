/* Learns a tank's thermostat, heater and cooling from the last two days of 5 min means.
 *
 * A heater that switches bends the curve: slopes of a quarter of an hour before and after differ by the
 * heater's full power, whatever room and lamps do. The bends upward tell where the thermostat switches on and
 * those downward where it switches off, with their medians and spreads. A tank that shows no bends though it
 * stays warmer than the room is held by a fine thermostat: its band is that of its means. */
#ifndef LENTIC_ENGINE_HEATER_LEARN_H
#define LENTIC_ENGINE_HEATER_LEARN_H

#include "engine/heater.h"

/* To be called about once an hour, not while something is wrong with the tank. room NULL: not measured. */
void heater_learn(struct heater *h, const struct window *temp, const struct window *room, utc_t now);

#endif
