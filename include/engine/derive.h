/* From what was sent to a calibrated value in the stored unit at a believed time, and the values that follow
 * from others: carbon dioxide, oxygen, ammonia, calcite, hardness and solids by the recipe. Each carries the
 * time and flag of its weakest input and one standard uncertainty; what lacks an input is left out. For the
 * files of this layer. */
#ifndef LENTIC_ENGINE_DERIVE_H
#define LENTIC_ENGINE_DERIVE_H

#include "engine/engine.h"

/* --- derive.c --- */

/* When it was measured: the sample's own time when it is believed, else the time of receipt. */
utc_t derive_time(const struct engine *e, const struct sample *s, struct now now, enum time_basis *basis);

/* Is it compensated here with the temperature of its place? */
bool derive_needs_temp(const struct engine *e, int stream);
/* That temperature for a reading of time t: fresh, of the first probe that is not known to be wrong. NaN:
 * none.
 */
double derive_temp(const struct engine *e, int stream, utc_t t);

/* By the calibration that counted at t. NaN when something that it needs is not known: a number that looks
 * right would be worse. */
double derive_value(const struct engine *e, const struct sample *s, utc_t t);

/* raw in the stored unit, calibrated, and compensated where the probe does not. */
double derive_reckon(const struct probe_value *value, const struct calib *calib, double raw, double temp_c);

/* --- derive_report.c --- */

void derive_report(const struct engine *e, struct tank_report *r);

/* The value, when it is there and young enough to be reckoned with: a probe's to 6 h, a hand test's to 30
 * days for gh, kh, ca, mg, else one day. NULL otherwise. */
const struct value_report *derive_input(const struct tank_report *r, enum quantity q);

/* mg/L of oxygen at saturation at the site's altitude; ec25_us_cm NaN: none. NaN when out of range. */
double derive_saturation(const struct site *site, double temp_c, double ec25_us_cm);

/* --- derive_rules.c --- */

/* Oxygen and ammonia, after a new value of q. */
void derive_rules(struct engine *e, int tank, enum quantity q, struct now now, struct effects *fx);

#endif
