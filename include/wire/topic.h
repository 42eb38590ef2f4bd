/* From a topic to the probe entry and place that it names: O(1) after first sight. */
#ifndef LENTIC_WIRE_TOPIC_H
#define LENTIC_WIRE_TOPIC_H

#include <stddef.h>
#include "base/arena.h"
#include "model/site.h"

struct topics;

/* One (entry, place) a topic may speak for; an entry with `match` may share its topic with others. */
struct topic_target {
    int entry;
    int place_index; /* into entry->places */
};

/* A table over the patterns (model/pattern), sized from the configuration; pieces from the arena. The site
 * must outlive it. */
struct topics *topics_init(const struct site *site, struct arena *arena);

/* All targets of a topic, in the order of the configuration. Returns how many (0: nobody's topic); *out
 * points into the table, or, when the table is full (a flood of topics), into scratch that lives until the
 * next call. */
int topics_find(struct topics *topics, const char *topic, size_t n, const struct topic_target **out);

#endif
