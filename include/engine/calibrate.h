/* Calibration of a probe by what it showed in something known. One to three pH buffers (electrodes in mV by
 * the Nernst model with the buffers' temperature, probes that send pH by a straight line), one or two
 * conductivity standards (one: the cell constant), a reference thermometer (offset), or gain and offset as
 * given.
 *
 * What cannot be is refused with the reason: points too near, a cell or slope far from one, a shift no sound
 * probe has. For the files of this layer. */
#ifndef LENTIC_ENGINE_CALIBRATE_H
#define LENTIC_ENGINE_CALIBRATE_H

#include "engine/engine.h"

/* The probe a command names, by name or by place and quantity. A sentence when there is none, or several. */
enum status calibrate_find(const struct engine *e, const struct command *c, int *stream,
                           struct why *why) LENTIC_CHECKED;

/* COMMAND_CALIBRATE. On STATUS_OK *why says what came of it. */
enum status calibrate(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why) LENTIC_CHECKED;

/* The calibration that counts for a reading of that time. */
const struct calib *calibrate_at(const struct engine *e, int stream, utc_t t);

/* Is a probe of that stream that was calibrated once due again? After each value. */
void calibrate_due(struct engine *e, int stream, struct now now, struct effects *fx);

#endif
