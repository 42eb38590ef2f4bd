/* What salts bring: ions, hardness, dissolved solids and conductivity.
 *
 * Composition from the formula with IUPAC 2021 atomic weights: GH, KH, ions and solids within 0.3 % for the
 * pure salt (a jar that has drawn water holds less). Carbonates count as dissolved by carbon dioxide, as
 * bicarbonate.
 *
 * Conductivity of a mixture: McCleskey, Nordstrom, Ryan & Ball (2012), Geochim. Cosmochim. Acta 77:369: per
 * ion lambda = lambda0(t) - A(t) sqrt(I)/(1 + B sqrt(I)), their coefficients, taken at 25 degrees, on the
 * free ions after the neutral pairs CaSO4 (log K 2.30) and MgSO4 (log K 2.37). Mixtures within 6 %; ionic
 * strength to 0.5 mol/L; hydrogen, hydroxide and carbonate ions are left out (pH 5.5 to 8.5). */
#ifndef LENTIC_WATER_SALTS_H
#define LENTIC_WATER_SALTS_H

#include <stddef.h>
#include "base/status.h"

enum ion { ION_CA, ION_MG, ION_NA, ION_K, ION_CL, ION_SO4, ION_HCO3, ION_NO3, ION_COUNT };

struct ions {
    double mmol_l[ION_COUNT];
};

struct common_salt {
    const char *name;  /* "CaCl2.2H2O" */
    const char *plain; /* "calcium chloride dihydrate" */
    double g_per_mol;
    unsigned char per_formula[ION_COUNT];
    double most_g_l; /* what dissolves near 20 degrees; carbonates: under carbon dioxide */
};

/* What 1 g/L of it adds. */
struct salt_power {
    double gh_dh, kh_dh, tds_mg_l;
};

const char *ion_name(enum ion ion); /* "ca" */

/* The index-th salt of the table, NULL behind the last. */
const struct common_salt *salts_at(size_t index);

/* By name, letter case, dots and blanks aside: "CaCl2.2H2O", "cacl2·2h2o", "calcium chloride dihydrate". NULL
 * and a sentence with the nearest known name when there is none. */
const struct common_salt *salts_find(const char *name, struct why *why);

struct ions salts_ions(const struct common_salt *salt, double g_per_l);
struct salt_power salts_power(const struct common_salt *salt);

double ions_gh(const struct ions *ions);  /* dH */
double ions_kh(const struct ions *ions);  /* dH */
double ions_tds(const struct ions *ions); /* mg/L, bicarbonate counted whole */
double ions_balance(
    const struct ions *ions); /* (cations - anions)/(cations + anions) in charge, -1..1; 0 for none */

/* uS/cm at 25 degrees. STATUS_INVALID: a negative amount, or more than 0.5 mol/L of ionic strength. */
enum status ions_ec25(const struct ions *ions, double *ec25_us_cm, struct why *why) LENTIC_CHECKED;

#endif
