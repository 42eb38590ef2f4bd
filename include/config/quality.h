/* Judgement limits of one probe value: the quantity's own, with what the group `quality` says. */
#ifndef LENTIC_CONFIG_QUALITY_H
#define LENTIC_CONFIG_QUALITY_H

#include "config/keys.h"

/* Only what the file says; the other fields stay NaN. off tells a level that is switched off from one that is
 * not named. */
struct quality_words {
    struct gate_limits limits;
    struct gate_limits off;            /* 1 where "off" is written, else NaN */
    const struct config_setting_t *at; /* NULL: no such group */
};

struct quality_words quality_words_init(void);

/* For KEY_APPLY; target: struct quality_words. */
void quality_read(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

/* Lays the words over the quantity's limits into value->gate and tells what does not go together. A level
 * that is not named makes room for a partner that is: fail_hi = 40.0 takes suspect_hi down to it. Spikes
 * of conductivity and dissolved solids are measured by what the site's animals bear, where that is known.
 * Uses value->quantity, every_s (a probe that sends every hour is not gapped after 15 minutes) and on_change
 * (no flat line can be judged). */
void quality_apply(struct loader *ld, struct quality_words *words, struct probe_value *value);

#endif
