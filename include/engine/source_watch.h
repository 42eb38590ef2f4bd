/* Purified water over weeks: told when it has risen above what is usual or above the unit's limit; its trend
 * for the documents. For the files of this layer. */
#ifndef LENTIC_ENGINE_SOURCE_WATCH_H
#define LENTIC_ENGINE_SOURCE_WATCH_H

#include "engine/engine.h"

void source_watch(struct engine *e, int place, struct now now, struct effects *fx);

#endif
