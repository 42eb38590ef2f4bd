/* Hand tests: the last values that a person measured of each quantity of a tank, by when they were measured.
 * The newest stands in where no probe speaks. Several are kept, so that a correction or a withdrawal of the
 * newest brings the one before back. For the files of this layer. */
#ifndef LENTIC_ENGINE_HAND_H
#define LENTIC_ENGINE_HAND_H

#include "base/pack.h"
#include "engine/engine.h"

#define HAND_KEPT 4

struct hand_test {
    double value, sd; /* sd NaN: not said */
    utc_t t;
    int64_t id; /* of its entry in the journal */
};

struct hand_tests {
    struct hand_test items[HAND_KEPT]; /* newest first */
    int32_t count;
};

/* NULL: never tested. */
const struct hand_test *hand_last(const struct engine *e, int tank, enum quantity q);

/* Forgets the values of entry `old` (0: none), which counts no longer, and takes those of `entry` (NULL:
 * none). Where another test is the newest now it is judged by the limit rules, when it is of today (hardness:
 * of this month) and no probe speaks; with nothing left the alerts that rested on it end. An older test than
 * the newest is history. */
void hand_replace(struct engine *e, int64_t old, const struct journal_entry *entry, struct now now,
                  struct effects *fx);

/* Without a judgement: what the store knows at the start. */
void hand_recall(struct engine *e, const struct journal_entry *entry);

/* Puts the hand value into *out when there is none in it, or only an older one of a silent probe. */
void hand_report(const struct engine *e, int tank, enum quantity q, struct now now, struct value_report *out);

void hand_visit(struct hand_tests *tests, enum quantity q, struct pack *p);

#endif
