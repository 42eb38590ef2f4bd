/* pH from a glass electrode's millivolts.
 *
 * Nernst slope S(T) = R T ln 10 / F (CODATA 2018), 59.1593 mV per pH at 25 degrees. E = offset - k S(T) (pH -
 * 7), the offset independent of temperature (isopotential point pH 7). Within 0.003 pH of the model; a real
 * electrode and its buffers are good for 0.02 to 0.05.
 * Source of the model: IUPAC recommendations 2002 (Buck et al., Pure Appl. Chem. 74:2169); buffers NIST / DIN
 * 19266 and DIN 19267. Valid: temp_c 0..60. */
#ifndef LENTIC_WATER_ELECTRODE_H
#define LENTIC_WATER_ELECTRODE_H

#include "base/status.h"

#define ELECTRODE_POINTS_MAX 3

struct electrode {
    double offset_mv;         /* at pH 7 */
    double pivot_ph;          /* where the two sides meet: the middle buffer, or 7 */
    double slope_fraction[2]; /* of the Nernst slope: [0] below pivot_ph (acid), [1] above */
};

#define ELECTRODE_IDEAL ((struct electrode){ 0.0, 7.0, { 1.0, 1.0 } })

struct electrode_point {
    double mv, buffer_ph; /* the buffer's pH at its temperature: see electrode_buffer_ph */
};

enum electrode_health { ELECTRODE_GOOD, ELECTRODE_AGEING, ELECTRODE_REPLACE, ELECTRODE_SUSPECT };

struct electrode_quality {
    double slope_percent; /* 100 assumed for one point; of the least-squares line for three */
    double residual_mv;   /* root mean square from that line; NaN below three points */
    enum electrode_health
        health; /* 95-102 % good, 90-95 ageing, below replace; above 102 or offset over 30 mV suspect */
};

/* mV per pH, positive. */
enum status electrode_slope(double temp_c, double *mv_per_ph, struct why *why) LENTIC_CHECKED;

/* One point sets the offset; two offset and slope; three a bent line about the middle buffer. STATUS_REFUSED
 * with the reason: the same buffer twice (nearer than 0.5 pH), a slope near zero (below half of Nernst), of
 * the wrong sign or above 115 %, an offset beyond 60 mV. */
enum status electrode_fit(const struct electrode_point *points, int count, double temp_c,
                          struct electrode *out, struct electrode_quality *quality,
                          struct why *why) LENTIC_CHECKED;

/* STATUS_INVALID when out of range; STATUS_REFUSED when the result is not a pH (0..14). */
enum status electrode_ph(const struct electrode *e, double mv, double temp_c, double *ph,
                         struct why *why) LENTIC_CHECKED;

/* The millivolts that the electrode shows at that pH: the inverse. */
enum status electrode_mv(const struct electrode *e, double ph, double temp_c, double *mv,
                         struct why *why) LENTIC_CHECKED;

/* pH of the standard buffer named by its value at 25 degrees (4.01, 6.86, 9.18 NIST / DIN 19266), at temp_c
 * 0..50: interpolated in the standard's table. STATUS_NONE for any other: use the maker's table. */
enum status electrode_buffer_ph(double nominal_ph, double temp_c, double *ph, struct why *why) LENTIC_CHECKED;

#endif
