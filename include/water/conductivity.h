/* Conductivity at 25 degrees from one measured at the water's temperature, and solids by a factor.
 *
 * A probe that already compensates must not be compensated again: whoever calls knows which it is. */
#ifndef LENTIC_WATER_CONDUCTIVITY_H
#define LENTIC_WATER_CONDUCTIVITY_H

#include "base/status.h"

#define CONDUCTIVITY_ALPHA 0.0191 /* per degree, the usual linear coefficient */

/* EC25 = EC * factor for natural waters, 0..36 degrees. Source: ISO 7888:1985, annex A (non-linear function
 * after Wagner, 1980). Within 0.2 %. */
enum status conductivity_factor_natural(double temp_c, double *factor, struct why *why) LENTIC_CHECKED;

/* factor = 1 / (1 + alpha (t - 25)); temp_c 0..50, alpha 0..0.039 per degree. Exact by definition; natural
 * waters stray from the line by some 2 % for 10 degrees away from 25. Source: ISO 7888:1985, 6.3. */
enum status conductivity_factor_linear(double temp_c, double alpha_per_c, double *factor,
                                       struct why *why) LENTIC_CHECKED;

/* EC25 in uS/cm. alpha_per_c NaN: natural waters; otherwise linear. ec_us_cm 0..100000. */
enum status conductivity_at_25(double ec_us_cm, double temp_c, double alpha_per_c, double *ec25_us_cm,
                               double *factor, struct why *why) LENTIC_CHECKED;

/* Dissolved solids, mg/L: not measured, but EC25 times the water's own factor (mineral mixes: 0.42 to 0.91).
 */
double conductivity_tds(double ec25_us_cm, double factor_mg_l_per_us_cm);

#endif
