/* When to try the broker again. Pure: times and randomness are passed in. */
#ifndef LENTIC_ADAPTERS_MQTT_BACKOFF_H
#define LENTIC_ADAPTERS_MQTT_BACKOFF_H

#include <stdbool.h>
#include <stdint.h>

#define MQTT_BACKOFF_LEAST_MS  INT64_C(1000)
#define MQTT_BACKOFF_MOST_MS   INT64_C(60000)
#define MQTT_BACKOFF_STABLE_MS INT64_C(30000) /* a link that stood this long starts anew */
#define MQTT_BACKOFF_QUICK_MS  INT64_C(5000)  /* a link lost sooner than this is suspicious */
#define MQTT_BACKOFF_TAKEN_MS  INT64_C(30000) /* least pause when another client uses our id */

struct mqtt_backoff {
    int failures, quick_drops;
    uint64_t random; /* seed, then state; any value */
};

enum mqtt_end {
    MQTT_END_NO_LINK, /* never came up */
    MQTT_END_LOST,    /* was up and went without a word, while the broker takes new connections */
    MQTT_END_GONE,    /* was up and went with the broker, or for a reason that it told */
    MQTT_END_CUT,     /* we cut it to hold back an acknowledgement */
    MQTT_END_TAKEN,   /* the broker said that another client took over */
};

/* Pause before the next try, after an end; up_ms: how long the link stood. Doubles from 1 s to 60 s, with a
 * quarter of jitter. *taken: the broker said so, or three in a row were lost quickly: another client uses our
 * id. */
int64_t mqtt_backoff_ended(struct mqtt_backoff *backoff, enum mqtt_end end, int64_t up_ms, bool *taken);

#endif
