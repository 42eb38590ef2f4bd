/* Purified water over weeks: told when it has risen above what is usual or above the unit's limit; its trend
 * for the documents. For the files of this layer. */
#ifndef LENTIC_ENGINE_SOURCE_WATCH_H
#define LENTIC_ENGINE_SOURCE_WATCH_H

#include "engine/engine.h"

void source_watch(struct engine *e, int place, struct now now, struct effects *fx);

/* A purifying unit without a probe: a test of its water beyond the limit tells, a lower one or a noted
 * cleaning ends it. A withdrawn test does not; the next one does. */
void source_told(struct engine *e, const struct journal_entry *entry, struct now now, struct effects *fx);

#endif
