/* Dissolved carbon dioxide, bicarbonate and the saturation with calcite.
 *
 * Source: Plummer & Busenberg (1982), Geochim. Cosmochim. Acta 46:1011 (K1, K2, Ksp, Kw, 0..90 degrees); ion
 * activity see water/activity.h. Carbonate hardness is taken as the whole alkalinity; borate, phosphate and
 * humic acids would pass for it.
 *
 * Valid: temp_c 0..50, ph 4..11, kh 0..60 dH, ec25 0..20000 uS/cm.
 * Uncertainty of CO2: 3 % to pH 7.8, 5 % to 8.2, 10 % above, + 0.01 mg/L, given exact inputs; the pH meter's
 * 0.1 alone is 25 %. Uncertainty of the index: 0.10. */
#ifndef LENTIC_WATER_CARBONATE_H
#define LENTIC_WATER_CARBONATE_H

#include "base/status.h"

struct carbonate {
    double co2_mg_l;
    double hco3_mg_l;
    double co3_activity; /* mol/L */
};

struct carbonate_constants {
    double k1, k2, kw, ksp_calcite; /* mol/L and products; thermodynamic (zero ionic strength) */
};

struct carbonate_constants carbonate_constants_at(double temp_c);

/* STATUS_INVALID: out of range. STATUS_REFUSED: the alkalinity is less than the hydroxide that this pH means,
 * so the two do not belong to one water. */
enum status carbonate_solve(double ph, double kh_dh, double temp_c, double ec25_us_cm, struct carbonate *out,
                            struct why *why) LENTIC_CHECKED;

/* log10(IAP/Ksp): below 0 the water dissolves calcite, above 0 it can lay down scale. ca_dh: calcium in
 * German degrees, above 0 to 100. */
enum status carbonate_calcite_index(double ph, double kh_dh, double ca_dh, double temp_c, double ec25_us_cm,
                                    double *index, struct why *why) LENTIC_CHECKED;

#endif
