/* Is a probe still right? Several grounds to doubt it, a hand test (engine/against.h), its twin, what the
 * water does, share one alert (KIND_DRIFTING): it ends when none is left. For the files of this layer. */
#ifndef LENTIC_ENGINE_DOUBT_H
#define LENTIC_ENGINE_DOUBT_H

#include "engine/against.h"
#include "engine/alarm.h"
#include "engine/engine.h"

enum doubt_ground { DOUBT_SOLIDS, DOUBT_CREEP, DOUBT_HAND, DOUBT_TWIN };

/* One ground says so, or no longer. evidence may be NULL when it does not. */
void doubt_judge(struct engine *e, int place, enum quantity q, enum doubt_ground ground, enum tri condition,
                 double value, double limit, const char *evidence, struct now now, struct effects *fx);

/* What a hand test said of the probe. Told as an event when they disagree; an alert unless the test itself is
 * to be doubted. A test that agrees ends it. */
void doubt_hand(struct engine *e, int place, const struct against *a, struct now now, struct effects *fx);

/* The newest test was corrected or withdrawn: what it said of the probe holds only if the one before says so.
 */
void doubt_untold(struct engine *e, int tank, enum quantity q, struct now now, struct effects *fx);

/* Probes of one quantity at one place, every ten minutes. */
void doubt_twins(struct engine *e, int place, struct now now, struct effects *fx);

/* Calibrated: what was said against the probe before no longer holds. */
void doubt_calibrated(struct engine *e, int stream, struct now now, struct effects *fx);

#endif
