/* What of app/homie_tree goes out, one topic at a time: a state, a value, a target, an alert. A value goes
 * when it is another one by more than its dead step, or when it was told long ago. All are false when there
 * is no room or no link now. */
#ifndef LENTIC_APP_HOMIE_TELL_H
#define LENTIC_APP_HOMIE_TELL_H

#include "app/homie_tree.h"

/* The values of one look at a device: a quantity's time goes with its value. */
struct homie_round {
    struct homie_tree *t;
    struct homie_device *d;
    struct now now;
    bool all;     /* whether changed or not */
    bool moved;   /* value or quality of the present quantity was told */
    bool refresh; /* the present quantity has not been told for long */
};

/* In t->alert_told, in place of a checksum: withdrawn; again on the next connection, for the last one may
 * have been dying. */
enum { HOMIE_WITHDRAWN = 2, HOMIE_WITHDRAWN_LAST };

/* A whole topic; one below a device, retained; a device's $state. */
bool homie_tell_topic(struct homie_tree *t, const char *topic, const char *payload, size_t n, bool retain);
bool homie_tell_below(struct homie_tree *t, const struct homie_device *d, const char *below,
                      const char *payload, size_t n);
bool homie_tell_state(struct homie_tree *t, const struct homie_device *d, const char *state);

/* Of a part that can be set. */
struct homie_setting *homie_tell_setting(struct homie_device *d, enum homie_part part);
/* path: the property's, below the device. */
bool homie_tell_target(struct homie_tree *t, struct homie_device *d, struct homie_slot *slot,
                       const char *path);

/* What is due of it; true as well when nothing is. */
bool homie_tell_slot(struct homie_round *r, struct homie_slot *slot);

/* Those of its own place; the root's are of all places without a device. all: whether changed or not. */
bool homie_tell_alerts(struct homie_tree *t, struct homie_device *d, const struct engine *engine, bool all,
                       struct now now);

#endif
