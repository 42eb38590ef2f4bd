/* Times of arrival that keep the order of arrival: messages of one topic that come within the same
 * millisecond (the library hands on what gathered in a nap of up to 100 ms, a broker what it kept while we
 * were away) would otherwise be one reading and its contradictions. */
#ifndef LENTIC_ADAPTERS_MQTT_STAMP_H
#define LENTIC_ADAPTERS_MQTT_STAMP_H

#include <stddef.h>
#include "base/times.h"

#define MQTT_STAMP_LEAD_MS 1000 /* never further ahead of the clock: beyond, times may be equal again */

struct mqtt_stamps {
    int64_t last_ms[512]; /* by the topic's hash; topics that share a slot keep their order too */
};

/* now, or a millisecond after the last one of the topic. */
utc_t mqtt_stamp(struct mqtt_stamps *stamps, const char *topic, size_t n, utc_t now);

#endif
