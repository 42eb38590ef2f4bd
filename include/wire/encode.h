/* State and alerts to topics and JSON documents. Topics are below BASE; documents are flat where they can be.
 * Values carry the decimals of their quantity; what is not known is null. */
#ifndef LENTIC_WIRE_ENCODE_H
#define LENTIC_WIRE_ENCODE_H

#include "base/text.h"
#include "model/effect.h"
#include "model/report.h"
#include "model/site.h"
#include "model/week.h"

#define ENCODE_DOCUMENT_MAX 16384
#define ENCODE_TEXT_MAX     1536 /* room for encode_alert_text */

/* BASE/tank/ID: {"v":1,"tank","name","t",
 * "values":{"temp":{"value","unit","t","age_s","flag","stale","origin","per_day","day_lo","day_hi"},...},
 * "derived":{"co2":{as above, and "sd"},...,"tds":{and "factor","factor_from":"water"|"recipe"|"usual"}},
 * "bands":{"temp":{"lo","hi","day_range","per_hour"},...},
 * "heat":{"tau_h","band_lo_c","band_hi_c","heater_w","duty","learnt_h"},
 * "solids":{"ec_per_day","ec_per_day_sd","span_days","evaporation_day": share of the water,
 * "evaporation_from": "level" or "reckoned"},
 * "forecast":{"quantity","place","limit","unit","at","at_early","at_late"|null: perhaps never,"text"}|null,
 * "service":{"until"}|null,"last_change":{"t","step_ec"}|null,
 * "plan":{...} (encode_week.h; left out when plan is NULL),"alerts":[as BASE/alert, without t place
 * change also forecast meaning time]}. Quantities never measured and open bands are left out. alerts: those
 * of the tank that are not NORM, most urgent first; written in the order given. */
void encode_tank(const struct site *site, const struct tank_report *r, const struct week_tank *plan,
                 const struct alert *alerts, int alert_count, struct text *out);

/* BASE/alert/PLACE/KIND: one alert, and the same object (with "t" and "change") for `replay --emit alerts`.
 * Members: t place change announced (told to people) kind id state priority value limit unit cause evidence
 * action consequence since (of the state) raised due forecast (as above) until (end of a shelf or of being
 * out of service) chattering leader (the id of the alert that speaks for this one, or null) also (names of
 * those that this one speaks for) who why meaning time (how long there is). */
void encode_alert(const struct site *site, const struct alert *a, enum alert_change change, bool announced,
                  utc_t t, struct text *out);

/* The alert as a few lines of plain text for people: what and where, the numbers, the cause, the time left,
 * what to do. clock: a time as the clock on the wall says it, returns buf; NULL: UTC. */
#define ENCODE_CLOCK_MAX 24
typedef const char *encode_clock(utc_t t, char *buf, size_t cap);
void encode_alert_text(const struct site *site, const struct alert *a, enum alert_change change, utc_t t,
                       encode_clock *clock, struct text *out);

/* The alert as one line, without the place: what, the numbers, the cause, what to do. */
void encode_alert_line(const struct site *site, const struct alert *a, utc_t t, struct text *out);

/* {"t","place","quantity","raw","value","unit","flag","tests":{"gap":1,...},"time":basis}; "late":true and
 * "revised":true only when so. raw is the number as sent; tests that did not apply are left out. */
void encode_reading(const struct site *site, const struct reading *r, struct text *out);

/* {"t","event","place","quantity","value","text"} */
void encode_event(const struct site *site, const struct event *e, utc_t t, struct text *out);

/* As published, with "v":1 in front: on BASE/alert and BASE/event. Notes are
 * in wire/notes. The schemas are in conf/schema. */
void encode_alert_document(const struct site *site, const struct alert *a, enum alert_change change,
                           bool announced, utc_t t, struct text *out);
void encode_event_document(const struct site *site, const struct event *e, utc_t t, struct text *out);

#endif
