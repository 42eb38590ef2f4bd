/* Kinds of probe: what all probes of one make have in common, written once in the list probe_kinds and named
 * by kind at an entry or at one of its values. What stands there as well goes before. */
#ifndef LENTIC_CONFIG_KINDS_H
#define LENTIC_CONFIG_KINDS_H

#include "config/values.h"

void kinds_list(struct loader *ld, const struct config_setting_t *at);

/* The draft that an entry or value begins with: that of its kind, else *otherwise. A kind that is not known
 * is told. */
struct value_draft kinds_draft(struct loader *ld, const struct config_setting_t *group,
                               const struct value_draft *otherwise);

/* "kind" itself, for the rows of entry and value: kinds_draft has read it. */
void kinds_skip(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

#endif
