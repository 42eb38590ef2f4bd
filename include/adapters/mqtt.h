/* The broker: the only includer of MQTTAsync.h. Subscribes on every connect, checks every SUBACK, reconnects
 * with capped exponential backoff and jitter, hands each message to a callback before it is acknowledged. */
#ifndef LENTIC_ADAPTERS_MQTT_H
#define LENTIC_ADAPTERS_MQTT_H

#include "base/status.h"
#include "model/message.h"
#include "model/site.h"

struct mqtt;

enum mqtt_link { MQTT_DOWN, MQTT_CONNECTING, MQTT_UP, MQTT_DEAF /* connected, a subscription was refused */ };

struct mqtt_state {
    enum mqtt_link link;
    mono_t since;
    uint32_t connects, taken_over; /* taken_over: another client used our id */
    char reason[160];              /* why it is not up, in plain words */
    uint64_t received, held_back;  /* held_back: the ring was full, acknowledgement withheld */
    uint64_t published, publish_failed;
    int in_flight, waiting;
};

struct mqtt_options {
    const struct broker_settings *broker;
    const char *const *filters; /* topics to subscribe; copied */
    const int *filter_qos;
    int filter_count;
    const char *will_topic, *will_payload; /* retained, QoS 1 */
    bool clean_start;                      /* tools: true; the daemon keeps its session */
    /* Receiving thread: must hand the message over durably. false: do not acknowledge, deliver again. */
    bool (*on_message)(void *context, const struct message *m);
    void *context;
    int event_fd; /* eventfd written whenever the link state changes or a publish completes; -1: none */
};

/* Starts connecting in the background. STATUS_INVALID: settings cannot work (secret readable by others, no such
 * certificate), with the sentence. */
enum status mqtt_open(const struct mqtt_options *options, struct mqtt **out, struct why *why) LENTIC_CHECKED;

/* Main thread. Retained or not, QoS 0 or 1. While the link is down: STATUS_IO; the caller keeps what matters and
 * republishes on connect. expiry_s 0: none. */
enum status mqtt_publish(struct mqtt *mqtt, const char *topic, const void *payload, size_t n, int qos, bool retain,
                         uint32_t expiry_s) LENTIC_CHECKED;
/* MQTT 5 answer with its correlation data. */
enum status mqtt_answer(struct mqtt *mqtt, const char *topic, const void *payload, size_t n, const char *correlation,
                        size_t correlation_len) LENTIC_CHECKED;

/* Reads and clears the flag "a new connection stands since the last call: republish". */
bool mqtt_take_connected(struct mqtt *mqtt);
struct mqtt_state mqtt_state(struct mqtt *mqtt);

/* Replaces the subscriptions: unsubscribes what is no longer wanted, subscribes the rest. */
enum status mqtt_resubscribe(struct mqtt *mqtt, const char *const *filters, const int *qos, int count) LENTIC_CHECKED;

/* To be called from the main loop at mqtt_deadline: reconnects when due. */
mono_t mqtt_deadline(struct mqtt *mqtt);
void mqtt_advance(struct mqtt *mqtt, struct now now);

/* Publishes nothing more, waits up to wait_ms for acknowledgements, disconnects cleanly. */
void mqtt_close(struct mqtt *mqtt, int wait_ms);

#endif
