/* The broker: the only includer of MQTTAsync.h. Subscribes on every connect, checks every SUBACK, reconnects
 * with capped exponential backoff and jitter, hands each message to a callback before it is acknowledged.
 *
 * Each connection is a client of its own in the library: certificates and passwords are read anew, and
 * nothing queued for a lost connection is sent on the next one. The broker keeps the session MQTT_SESSION_S
 * (MQTT 5; with 3.1.1 as long as the broker likes), so that messages at QoS 1 wait there while the daemon is
 * away. A message that is not taken is held back by cutting the connection before its acknowledgement (the
 * library acknowledges whatever the callback says); the broker delivers it again on the next one. While the
 * receiving thread is in on_message, mqtt_publish waits for it. */
#ifndef LENTIC_ADAPTERS_MQTT_H
#define LENTIC_ADAPTERS_MQTT_H

#include "base/status.h"
#include "model/message.h"
#include "model/site.h"

struct mqtt;

#define MQTT_SESSION_S     86400
#define MQTT_IN_FLIGHT_MAX 20
#define MQTT_WAITING_BYTES                                                                                   \
    ((size_t)1024 * 1024) /* publishes kept for room in flight; beyond: STATUS_FULL                          \
                           */
#define MQTT_PAYLOAD_MAX ((size_t)16 * 1024 * 1024)

enum mqtt_link { MQTT_DOWN, MQTT_CONNECTING, MQTT_UP, MQTT_DEAF /* connected, a subscription was refused */ };

struct mqtt_state {
    enum mqtt_link link;
    mono_t since;
    uint32_t connects, taken_over; /* taken_over: another client used our id */
    char reason[160];              /* why it is not up, in plain words */
    uint64_t received, held_back;  /* held_back: the ring was full, acknowledgement withheld */
    uint64_t published, publish_failed;
    int in_flight, waiting;
    utc_t certificate_until; /* the earlier end of our certificate and of the last of the authorities in their
                                file, looked up once an hour; UTC_NONE: not known */
};

/* Added to a filter's QoS (MQTT 5): the retain flag then says how the message was published, not whether the
 * broker repeats it. For commands, where either must be refused. */
#define MQTT_RETAIN_AS_PUBLISHED 0x10

struct mqtt_options {
    const struct broker_settings *broker;
    const char *const *filters; /* topics to subscribe; copied */
    const int *filter_qos;
    int filter_count;
    const char *will_topic, *will_payload; /* retained, QoS 1 */
    bool clean_start;                      /* tools: true; the daemon keeps its session */
    const char
        *session_file; /* remembers what was subscribed, to unsubscribe it in a later run; NULL: nothing */
    /* Receiving thread: must hand the message over durably. false: do not acknowledge, deliver again (QoS 0:
     * lost). */
    bool (*on_message)(void *context, const struct message *m);
    void *context;
    int event_fd; /* eventfd written whenever the link state changes or a publish completes; -1: none */
};

/* Starts connecting in the background; everything in the options is copied. STATUS_INVALID: settings cannot
 * work (secret readable by others, no such certificate), with the sentence. */
enum status mqtt_open(const struct mqtt_options *options, struct mqtt **out, struct why *why) LENTIC_CHECKED;

/* Main thread. Retained or not, QoS 0 or 1. While the link is down: STATUS_IO; the caller keeps what matters
 * and republishes on connect: what was still on its way when the link went down counts as publish_failed.
 * STATUS_FULL: too many waiting. STATUS_INVALID: not a topic. expiry_s 0: none. */
enum status mqtt_publish(struct mqtt *mqtt, const char *topic, const void *payload, size_t n, int qos,
                         bool retain, uint32_t expiry_s) LENTIC_CHECKED;
/* MQTT 5 answer with its correlation data. */
enum status mqtt_answer(struct mqtt *mqtt, const char *topic, const void *payload, size_t n,
                        const char *correlation, size_t correlation_len) LENTIC_CHECKED;

/* MQTT 5 request: whoever answers does so on reply_topic, with the correlation data. Both are left out
 * with 3.1.1. */
enum status mqtt_ask(struct mqtt *mqtt, const char *topic, const void *payload, size_t n,
                     const char *reply_topic, const char *correlation, size_t correlation_len) LENTIC_CHECKED;

/* Reads and clears the flag "a new connection stands since the last call: republish". */
bool mqtt_take_connected(struct mqtt *mqtt);
struct mqtt_state mqtt_state(struct mqtt *mqtt);

/* Replaces the subscriptions: unsubscribes what is no longer wanted, subscribes the rest. */
enum status mqtt_resubscribe(struct mqtt *mqtt, const char *const *filters, const int *qos,
                             int count) LENTIC_CHECKED;

/* To be called from the main loop at mqtt_deadline: reconnects when due. */
mono_t mqtt_deadline(struct mqtt *mqtt);
/* Also keeps session_file up to date. */
void mqtt_advance(struct mqtt *mqtt, struct now now);

/* Publishes nothing more, waits up to wait_ms for acknowledgements, disconnects cleanly. */
void mqtt_close(struct mqtt *mqtt, int wait_ms);

#endif
