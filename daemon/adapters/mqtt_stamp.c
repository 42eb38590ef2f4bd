#include "adapters/mqtt_stamp.h"

#include "base/checksum.h"

utc_t mqtt_stamp(struct mqtt_stamps *stamps, const char *topic, size_t n, utc_t now)
{
    int64_t *last =
        &stamps->last_ms[checksum_fnv(topic, n) % (sizeof stamps->last_ms / sizeof *stamps->last_ms)];
    int64_t lead = *last - now.ms;
    if (lead >= 0 && lead < MQTT_STAMP_LEAD_MS)
        now.ms = *last + 1;
    *last = now.ms;
    return now;
}
