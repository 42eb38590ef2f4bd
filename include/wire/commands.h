/* BASE/do/COMMAND payloads to commands, and answers back. */
#ifndef LENTIC_WIRE_COMMANDS_H
#define LENTIC_WIRE_COMMANDS_H

#include "base/text.h"
#include "model/command.h"
#include "model/message.h"
#include "model/site.h"

/* verb is the topic's last level. Payload: a JSON object with "place" ("tank/a1"; "tank":"a1" for short) and
 * "kind" ("temp-low"), or "id" ("tank/a1/temp-low"); "minutes"; "who" and "why"; for notes "what",
 * "quantity", "value" (in the stored unit), "litres", "grams", "at" (RFC 3339 with zone, or an epoch number).
 * A calibration has "place" and "quantity" or "probe" (its name), and "points" (one to three of
 * {"raw","is","temp"}; without "raw" what the probe shows now), or "value" (the same for one point), or
 * "gain" and "offset", or "undo"; "from" (a time): stored readings since then as well. An empty payload is an
 * empty object. Unknown members are refused by name. What a verb needs beyond the form (a place, a span of
 * minutes within its limits) is the engine's to judge; a note needs "what", a hand test and a calibration
 * their value. STATUS_INVALID with one sentence; *out then holds what was understood so far, good for the
 * answer. */
enum status commands_parse(const struct site *site, const char *verb, size_t verb_len, const char *payload,
                           size_t n, struct command *out, struct why *why) LENTIC_CHECKED;

/* {"v":1,"ok":true/false,"command":...,"place":...,"text":...}; null for what is not known. */
void commands_format_answer(const struct site *site, const struct command *c, enum status st,
                            const char *sentence, struct text *out);

#endif
