/* The probe of a place exchanged: told by a person, or seen by the device's id in the payload. The history
 * goes on; from then on the new device's own calibration counts, at first the configured one. For the files
 * of this layer. */
#ifndef LENTIC_ENGINE_EXCHANGE_H
#define LENTIC_ENGINE_EXCHANGE_H

#include "engine/engine.h"

/* COMMAND_EXCHANGE. On STATUS_OK *why says what came of it. */
enum status exchange(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                     struct why *why) LENTIC_CHECKED;

/* A sample of time t came that may name its device; the configuration names it when the payload does not. */
void exchange_hear(struct engine *e, const struct sample *s, utc_t t, struct now now, struct effects *fx);

#endif
