/* Sums of mixing: exact mass balance, to 1e-6 and better; grams to 0.001.
 *
 * c is any conserved concentration (mg/L, dH, mmol/L) or, within some 2 %, EC25; pH is not one. Fractions are
 * 0..1 of the tank's water. STATUS_INVALID: an input that makes no sense (negative, not finite).
 * STATUS_REFUSED: a question without an answer; the sentence says why and what is nearest. */
#ifndef LENTIC_WATER_MIXING_H
#define LENTIC_WATER_MIXING_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"

/* One change of fraction f: c0 + f (cn - c0). */
enum status mixing_change(double c0, double cn, double fraction, double *c, struct why *why) LENTIC_CHECKED;

/* Fraction of one change that brings c0 to ct: (c0 - ct)/(c0 - cn). 0 when already there. */
enum status mixing_fraction(double c0, double ct, double cn, double *fraction,
                            struct why *why) LENTIC_CHECKED;

/* After n equal changes: cn + (c0 - cn)(1 - f)^n. */
enum status mixing_repeat(double c0, double cn, double fraction, double n, double *c,
                          struct why *why) LENTIC_CHECKED;

/* Fewest equal changes of at most fraction_most each that reach ct, and their fraction. 0 and 0 when there.
 */
enum status mixing_changes(double c0, double ct, double cn, double fraction_most, double *count,
                           double *fraction, struct why *why) LENTIC_CHECKED;

/* Fewest equal steps from c0 to ct of at most step_most each. 0 when already there. */
enum status mixing_stages(double c0, double ct, double step_most, double *count,
                          struct why *why) LENTIC_CHECKED;

/* Pure water that brings c_now, risen by evaporation, back to c0. By the volume when full, or by what is
 * there. */
enum status mixing_topoff_full(double c0, double c_now, double volume_full_l, double *litres,
                               struct why *why) LENTIC_CHECKED;
enum status mixing_topoff_now(double c0, double c_now, double volume_now_l, double *litres,
                              struct why *why) LENTIC_CHECKED;

/* Parts of two sources that make volume_l of ct. */
enum status mixing_blend(double ca, double cb, double ct, double volume_l, double *a_l, double *b_l,
                         struct why *why) LENTIC_CHECKED;

#define MIXING_SALTS_MAX 16

/* What 1 g/L of a salt adds. */
struct mixing_salt {
    double gh_dh, kh_dh;
};

struct mixing_dose {
    double volume_l;
    double gh0_dh, kh0_dh; /* as it is */
    double gh1_dh, kh1_dh; /* as it shall be */
};

/* Grams of each of count salts (1..MIXING_SALTS_MAX). Two salts that are not of one kind: exact. More: the
 * non-negative least-squares solution; of equal ones that with the least grams (never more than two salts are
 * needed for two hardnesses). STATUS_REFUSED: negative grams, salts of one kind, or a target beyond reach,
 * with the nearest GH and KH that can be reached. */
enum status mixing_grams(const struct mixing_dose *dose, const struct mixing_salt *salts, size_t count,
                         double *grams, struct why *why) LENTIC_CHECKED;

#endif
