#include "adapters/mqtt_backoff.h"

#define QUICK_DROPS_TELL 3
#define DOUBLINGS_MOST   6

static uint64_t next_random(struct mqtt_backoff *backoff)
{
    backoff->random = backoff->random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return backoff->random >> 33;
}

int64_t mqtt_backoff_ended(struct mqtt_backoff *backoff, enum mqtt_end end, int64_t up_ms, bool *taken)
{
    if (end != MQTT_END_NO_LINK && up_ms >= MQTT_BACKOFF_STABLE_MS)
        backoff->failures = 0;
    if (end == MQTT_END_LOST || end == MQTT_END_GONE)
        backoff->quick_drops =
            end == MQTT_END_LOST && up_ms < MQTT_BACKOFF_QUICK_MS ? backoff->quick_drops + 1 : 0;
    *taken = end == MQTT_END_TAKEN || (end == MQTT_END_LOST && backoff->quick_drops >= QUICK_DROPS_TELL);
    int64_t pause = MQTT_BACKOFF_LEAST_MS << backoff->failures;
    if (*taken && pause < MQTT_BACKOFF_TAKEN_MS)
        pause = MQTT_BACKOFF_TAKEN_MS;
    if (pause > MQTT_BACKOFF_MOST_MS)
        pause = MQTT_BACKOFF_MOST_MS;
    if (backoff->failures < DOUBLINGS_MOST)
        backoff->failures++;
    int64_t jittered = pause - (int64_t)(next_random(backoff) % (uint64_t)(pause / 4));
    return jittered < MQTT_BACKOFF_LEAST_MS ? MQTT_BACKOFF_LEAST_MS : jittered;
}
