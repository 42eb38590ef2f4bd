/* What a water is made of, by the salts that its recipe names: conductivity, hardness and solids of the
 * recipe dissolved at any strength (1: as written; a tank that lost a tenth of its water to
 * evaporation: 1.11).
 *
 * Salts of known composition act together by their ions (water/salts: mixtures to 6 %), the others by the
 * numbers on the jar. A water without weighed amounts is described by its targets of ec, gh and kh, straight.
 */
#ifndef LENTIC_MODEL_RECIPE_H
#define LENTIC_MODEL_RECIPE_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

struct recipe_water {
    double ec_us_cm, gh_dh, kh_dh;
    double tds_mg_l; /* NaN: not known */
    bool by_targets; /* no weighed amounts: the targets stand for them */
};

/* strength 0..20. STATUS_NONE: neither amounts with known conductivity nor targets of ec, gh and kh. */
enum status recipe_eval(const struct site *site, int water, double strength,
                        struct recipe_water *out) LENTIC_CHECKED;

/* The strength at which the recipe has that conductivity. STATUS_NONE as above; STATUS_REFUSED: beyond 0..20.
 */
enum status recipe_strength(const struct site *site, int water, double ec25_us_cm,
                            double *strength) LENTIC_CHECKED;

#endif
