/* State and alerts to topics and JSON documents. Topics are below BASE; documents are flat where they can be. */
#ifndef LENTIC_WIRE_ENCODE_H
#define LENTIC_WIRE_ENCODE_H

#include "base/text.h"
#include "model/effect.h"
#include "model/report.h"
#include "model/site.h"

#define ENCODE_DOCUMENT_MAX 16384

/* BASE/tank/ID: {"v":1,"tank","name","t","values":{"temp":{"value","unit","t","age_s","flag","stale","per_day",...}},
 * "derived":{...},"bands":{...},"heat":{...},"forecast":{...}|null,"service":...,"alerts":[...]}. alerts: those of the tank that are not
 * NORM, most urgent first. */
void encode_tank(const struct site *site, const struct tank_report *r, const struct alert *alerts, int alert_count,
                 struct text *out);

/* BASE/alert/PLACE/KIND: one alert, and the same object (with "t" and "change") for `replay --emit alerts`.
 * Members: t place kind id state change priority value limit unit cause evidence action consequence since due members who why. */
void encode_alert(const struct site *site, const struct alert *a, enum alert_change change, utc_t t, struct text *out);

/* The alert as two or three lines of plain text for people. */
void encode_alert_text(const struct site *site, const struct alert *a, enum alert_change change, utc_t t,
                       struct text *out);

/* {"t","place","quantity","raw","value","unit","flag","tests":{"gap":1,...}, "time":basis, "late":true only when so} */
void encode_reading(const struct site *site, const struct reading *r, struct text *out);

/* {"t","event","place","quantity","value","text"} */
void encode_event(const struct site *site, const struct event *e, utc_t t, struct text *out);

#endif
