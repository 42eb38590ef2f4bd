/* What the active alerts move towards: told with the alert, kept, and scored when it came or did not. For the
 * files of this layer. */
#ifndef LENTIC_ENGINE_FORECAST_WATCH_H
#define LENTIC_ENGINE_FORECAST_WATCH_H

#include "base/pack.h"
#include "engine/engine.h"

/* False: it moves towards no limit. */
bool forecast_of_alert(const struct engine *e, int slot, struct now now, struct forecast *out);
/* The soonest of all that concern the tank, those of its rack, circuit and room as well. */
bool forecast_of_tank(const struct engine *e, int tank, struct now now, struct forecast *out);

/* Once a minute. */
void forecast_watch(struct engine *e, struct now now, struct effects *fx);
void forecast_watch_visit(struct engine *e, int slot, struct pack *p);
void forecast_scores_visit(struct forecast_scores *s, struct pack *p);

#endif
