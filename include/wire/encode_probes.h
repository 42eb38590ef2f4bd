/* BASE/probes: the health of every probe in one document,
 * {"v":1,"t","probes":[{"probe","place","quantity","device","device_since","uncalibrated","battery","battery_unit",
 * "battery_low","link","link_unit","value","unit","t","age_s","flag","stale","every_s",
 * "good_share","calibrated","slope_percent","slope_month","gain","offset","received","missing","rejected","duplicates",
 * "conflicts","late","retained","nothing_asked_for","last_reason","last_sample"},...]}, each probe on a line
 * of its own. "flag", "t" and "value" are null before anything came; "calibrated" is null when the
 * configuration's calibration holds; "slope_percent" is of electrodes, "gain" and "offset" of all others. */
#ifndef LENTIC_WIRE_ENCODE_PROBES_H
#define LENTIC_WIRE_ENCODE_PROBES_H

#include "base/text.h"
#include "model/report.h"

#define ENCODE_PROBE_MAX 1900 /* room for one probe; the document: as many as there are, and 64 */

void encode_probes_begin(utc_t t, struct text *out);
void encode_probes_add(const struct site *site, const struct probe_report *r, utc_t t, struct text *out);
void encode_probes_end(struct text *out);

#endif
