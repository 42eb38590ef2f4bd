/* One MQTT message as it came, with the two clocks read when it was handed over. */
#ifndef LENTIC_MODEL_MESSAGE_H
#define LENTIC_MODEL_MESSAGE_H

#include <stdbool.h>
#include <stdint.h>
#include "base/times.h"

#define MESSAGE_TOPIC_MAX   256   /* bytes, without the terminator; a longer topic is refused and counted */
#define MESSAGE_PAYLOAD_MAX 16384 /* bytes; a longer payload is refused and counted */
#define MESSAGE_REPLY_MAX   256

struct message {
    const char *topic; /* not terminated */
    uint32_t topic_len;
    const char *payload; /* not terminated; may hold any byte */
    uint32_t payload_len;
    int qos;
    bool retain;
    bool dup;
    struct now now;          /* clocks at the hand-over */
    uint32_t expiry_left_s;  /* MQTT 5 message expiry still left, 0 when none was given */
    bool expired;            /* it had run out before the message was taken out of the ring */
    const char *reply_topic; /* MQTT 5 response topic; NULL when none */
    uint32_t reply_topic_len;
    const char *correlation; /* bytes; NULL when none */
    uint32_t correlation_len;
};

#endif
