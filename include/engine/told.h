/* Entries of the journal as they come in: numbered, put to use, handed to whoever stores them. */
#ifndef LENTIC_ENGINE_TOLD_H
#define LENTIC_ENGINE_TOLD_H

#include "base/pack.h"
#include "engine/engine.h"

#define TOLD_CHANGE_MS (3 * MS_PER_HOUR) /* a noted change explains a step of the solids that near */

/* A water change or top-off that people told of: the last of a tank. */
struct told_change {
    utc_t t; /* UTC_NONE: none */
    int64_t id;
    bool change;   /* false: a top-off */
    double litres; /* NaN: not said */
};

/* c->note is whole (corrections joined with the old entry) and carries its number, or 0: the next one. The
 * sentence tells the number and what the values say beside the probes. */
enum status told_take(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why) LENTIC_CHECKED;

/* The engine's own entry about a probe: what was done to it, at whose word. */
void told_write(struct engine *e, enum journal_kind kind, const struct stream *stream,
                const struct command *c, const char *what, struct now now, struct effects *fx);

/* The change or top-off that a keeper noted of that tank within TOLD_CHANGE_MS of t, for whoever sees a step;
 * NULL: none.
 */
const struct told_change *told_change_near(const struct engine *e, int tank, utc_t t);

void told_visit_change(struct told_change *told, struct pack *p);

#endif
