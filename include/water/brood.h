/* How long eggs are carried until they hatch, by temperature: days = K / (t - T0), the usual degree-day law
 * of cold-blooded animals.
 *
 * Neocaridina: T0 13.3 degrees, K 224 degree-days, through 21 days at 24 degrees and 12 at 32, which gives 15
 * at 28 and 26 at 22. Source: Tropea, Stumpf, Lopez Greco 2015, PLoS ONE 10(3) e0119468 (incubation at 24, 28
 * and 32 degrees, longer the cooler; figures as reported in popular summaries of it); keepers' two to four
 * weeks. One standard uncertainty 12 %.
 * Caridina of soft water: the same T0, K 285, from keepers' 20 to 40 days and about 30 at 22.5 to 23 degrees;
 * no published series was found. One standard uncertainty 20 %.
 * Valid from 18 to 32 degrees; at 32 all eggs were lost in the source. */
#ifndef LENTIC_WATER_BROOD_H
#define LENTIC_WATER_BROOD_H

#include "base/status.h"

enum brood_kind { BROOD_NEOCARIDINA, BROOD_CARIDINA, BROOD_UNKNOWN };

struct brood {
    double days, sd;
};

/* By the scientific name's first word, in any case: "neocaridina-davidi". BROOD_UNKNOWN: nothing is known. */
enum brood_kind brood_kind_of(const char *id);

/* STATUS_NONE: unknown kind. STATUS_INVALID: outside 18 to 32 degrees. */
enum status brood_eval(enum brood_kind kind, double temp_c, struct brood *out,
                       struct why *why) LENTIC_CHECKED;

#endif
