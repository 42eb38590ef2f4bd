/* A batch of one of the site's waters: what to weigh and what to expect.
 *
 * With amounts in the water's recipe these are weighed, less what the source brings along: salts that carry
 * KH are scaled to the KH that is missing to the recipe's, the others to the GH, so that the recipe keeps its
 * proportions. Without amounts (NaN, or no recipe at all) the grams follow from the
 * water's GH and KH targets with the recipe's salts, or with all of the site's. Pure: the
 * source water is what the caller says it is. */
#ifndef LENTIC_PLAN_MIX_H
#define LENTIC_PLAN_MIX_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

#define MIX_PARTS_MAX 16

/* The water it is made from. Zeros: purified. */
struct mix_source {
    double ec_us_cm, gh_dh, kh_dh; /* ec NaN: not known */
    double hard_share;             /* of it that is the harder of two waters, for the words; 0: not blended */
};

struct mix_part {
    int salt; /* index into the site's salts */
    double grams;
    bool short_of_stock; /* the cupboard is said to hold less */
};

struct mix_plan {
    double volume_l;
    struct mix_part parts[MIX_PARTS_MAX];
    int count;
    double gh_dh, kh_dh; /* expected */
    double ec_us_cm,
        ec_sd_us_cm;  /* expected at 25 degrees, one standard uncertainty; NaN: a salt's EC is not known */
    double tds_mg_l;  /* NaN: not known */
    double ec_off;    /* expected less target; NaN: no target or no expectation */
    bool ec_doubtful; /* off by more than twice the uncertainty and 10 % of the target */
};

/* STATUS_INVALID: no such water, volume not above 0 to 100000 L, a recipe of too many parts. STATUS_REFUSED:
 * the water has neither amounts nor GH and KH targets, or they are out of reach with these salts and this
 * source. */
enum status mix_eval(const struct site *site, int water, double volume_l, const struct mix_source *source,
                     struct mix_plan *out, struct why *why) LENTIC_CHECKED;

/* What these grams in that much purified water are expected to give. STATUS_INVALID: volume or count. */
enum status mix_expect(const struct site *site, double volume_l, const struct mix_part *parts, int count,
                       struct mix_plan *out) LENTIC_CHECKED;

#endif
