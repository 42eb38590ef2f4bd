/* A mixed batch beside the target of its water: how far off, and what to add. Mass balance (water/mixing); EC
 * is taken as proportional to what is dissolved, good to some 2 % for corrections of this size. */
#ifndef LENTIC_PLAN_BATCH_H
#define LENTIC_PLAN_BATCH_H

#include "base/text.h"
#include "model/journal.h"
#include "plan/mix.h"

enum { BATCH_EC, BATCH_GH, BATCH_KH, BATCH_FIGURES };

struct batch_figure {
    double target, measured, sd; /* NaN: not known */
    double expected;             /* of what was weighed, dissolved in pure water; NaN: also of tap water */
    bool off;                    /* by more than twice the uncertainty and a twentieth of the target */
};

struct batch_check {
    int water;
    double litres; /* NaN: not said */
    struct batch_figure figures[BATCH_FIGURES];
    bool measured; /* anything that has a target */
    bool off;
    double add_l; /* of purified water; 0 */
    struct mix_part add[MIX_PARTS_MAX];
    int add_count;     /* salts to add after the water */
    bool corrected;    /* add_l and add bring it to the target */
    double by_weight;  /* measured EC over that of what was weighed; NaN: not known */
    bool doubtful_mix; /* by_weight is off by more than a tenth: scale, damp jar, litres */
};

/* STATUS_NONE: no batch, or of a water that the site does not have. */
enum status batch_check(const struct site *site, const struct journal_entry *batch,
                        struct batch_check *out) LENTIC_CHECKED;

/* Lines for people, each begun with two blanks. */
void batch_words(const struct site *site, const struct batch_check *check, struct text *out);

/* For whoever notes a change made from it: that it missed its water, and what now. False: nothing is wrong.
 */
bool batch_used_words(const struct site *site, const struct journal_entry *batch, struct text *out);

#endif
