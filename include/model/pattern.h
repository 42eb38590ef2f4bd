/* Topic patterns of the probe entries: MQTT topic filters in which a level may hold one capture, as in
 * "probes/{tank}/temp", "rack-{rack}/{tank}/state" or "shed/+/{circuit}/power".
 *
 * A capture stands for the id of a place: {tank} {rack} {circuit} {source} {store}. Text may stand before and
 * behind it within its level. "+" and "#" keep their MQTT meaning (MQTT 5.0, section 4.7). The most
 * particular capture names the place: tank before circuit, rack, source and store; the others must then agree
 * with it. */
#ifndef LENTIC_MODEL_PATTERN_H
#define LENTIC_MODEL_PATTERN_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"
#include "base/text.h"
#include "model/site.h"

enum pattern_level_kind { LEVEL_TEXT, LEVEL_CAPTURE, LEVEL_ANY /* + */, LEVEL_REST /* # */ };

struct pattern_level {
    enum pattern_level_kind kind;
    const char *text; /* the whole level as written */
    size_t len;
    enum place_kind capture; /* LEVEL_CAPTURE: what its id names */
    size_t before, behind;   /* LEVEL_CAPTURE: bytes of text around it; text begins and ends with them */
};

/* Steps through the levels: begin with *rest = pattern; false behind the last. For checked patterns. */
bool pattern_next(const char **rest, struct pattern_level *level);

/* STATUS_INVALID with a sentence when the pattern is not sound. *capture: the capture that names the place,
 * PLACE_KIND_COUNT when there is none. */
enum status pattern_check(const char *pattern, enum place_kind *capture, struct why *why) LENTIC_CHECKED;

/* Writes the MQTT filter to subscribe: a level with a capture becomes "+". For checked patterns. Returns the
 * length; 0 and the empty string when it does not fit. */
size_t pattern_filter(const char *pattern, char *buf, size_t cap);

/* Whether every capture has an id at that place: {rack} needs a tank with a rack, or the rack itself. */
bool pattern_serves(const char *pattern, const struct site *site, int place);

/* The pattern with its captures replaced by the ids of the place; "+" and "#" stay. A capture without an id
 * stays as written. */
void pattern_fill(const char *pattern, const struct site *site, int place, struct text *out);

/* Whether a concrete topic of n bytes is one of the place's. A leading "$" is met by no wildcard. */
bool pattern_match(const char *pattern, const struct site *site, int place, const char *topic, size_t n);

/* What a topic has where the pattern captures that kind: its length, 0 when there is nothing. Whether the
 * rest matches is not looked at. */
size_t pattern_captured(const char *pattern, enum place_kind kind, const char *topic, size_t n,
                        const char **id);

#endif
