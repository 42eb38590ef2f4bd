/* What the keeper's hub wants to be told about each thing, in the hub's own form: a topic and a payload of
 * the configuration, in which ${names} stand for the thing's own. "$$" is a dollar. A payload that begins
 * with { or [ is JSON: what is filled in is escaped for its strings. */
#ifndef LENTIC_MODEL_ANNOUNCEMENT_H
#define LENTIC_MODEL_ANNOUNCEMENT_H

#include "base/text.h"
#include "model/site.h"

#define ANNOUNCEMENT_TOPIC_MAX   256
#define ANNOUNCEMENT_PAYLOAD_MAX 8192

/* "site", "tank", "quantity", "alert": NULL behind the last. */
extern const char *const announcement_scopes[];

/* Every name is known there, every ${ is closed; a topic may hold ids only, is no filter and fits. One
 * sentence with the nearest name. */
enum status announcement_check_topic(enum announcement_scope scope, const char *topic,
                                     struct why *why) LENTIC_CHECKED;
enum status announcement_check_payload(enum announcement_scope scope, const char *payload,
                                       struct why *why) LENTIC_CHECKED;

/* How many things it is for. */
int announcement_things(const struct site *site, const struct announcement *a);

/* Of checked ones; out->cut when it does not fit. False when the topic came out as none. */
bool announcement_topic(const struct site *site, const struct announcement *a, int thing, struct text *out);
void announcement_payload(const struct site *site, const struct announcement *a, int thing, struct text *out);

#endif
