/* Texts for people that tell of several things at once, and the message as the notify command gets it. Times
 * of day are local. */
#ifndef LENTIC_APP_DIGEST_H
#define LENTIC_APP_DIGEST_H

#include "adapters/store_outbox.h"
#include "app/pump.h"
#include "base/text.h"

/* "Sun 14:05". Returns buf. */
#define DIGEST_CLOCK_MAX 16
const char *digest_clock(utc_t t, char *buf, size_t cap);

/* Every digest below fills ref, priority, at, text and json of *out. JSON members: t digest count text-free
 * lines:
 * {"t","digest":"quiet-hours","count":2,"lines":["..."]}. Lines that do not fit are counted. */

/* What was held in the quiet hours. One line an alert: the last that was said of it. */
struct digest_held {
    struct held_line {
        char ref[96], line[200];
        utc_t at;
        int times;
    } lines[48];
    int count, left_out;
};
void digest_held_add(void *held, const struct outbox_item *item); /* for store_outbox_each_held */
void digest_held(const struct digest_held *held, utc_t now, struct outbox_item *out);

/* Alerts that wait for somebody and are not told one by one: raised after `after` (UTC_NONE: all), below high
 * priority. Returns how many. */
int digest_flood(const struct site *site, const struct pump *pump, utc_t after, const char *lead, utc_t now,
                 struct outbox_item *out);

/* The daily summary: what stands for over a day, what is active, put aside, out of service, in service,
 * and which tests and calibrations are due. */
void digest_summary(const struct site *site, const struct pump *pump, struct now now,
                    struct outbox_item *out);

/* The message on the command's standard input, as text or one JSON object:
 * {"message":"alert"|"test"|"digest"|"summary"|"shelf","site","name","ref","priority","t","late_s","title","text","body"}.
 */
void digest_compose(const struct site *site, const struct outbox_item *item, utc_t now, struct text *out);

#endif
