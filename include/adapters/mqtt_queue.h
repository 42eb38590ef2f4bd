/* Publishes that wait for room in flight: a bounded first-in first-out in one block of memory. Not locked. */
#ifndef LENTIC_ADAPTERS_MQTT_QUEUE_H
#define LENTIC_ADAPTERS_MQTT_QUEUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct mqtt_item {
    const char *topic; /* terminated */
    const void *payload;
    size_t payload_len;
    const char *reply_topic; /* terminated; NULL: none */
    const char *correlation; /* NULL: none */
    size_t correlation_len;
    int qos;
    bool retain, json; /* json: told as the content type (MQTT 5) */
    uint32_t expiry_s;
};

struct mqtt_queue {
    uint8_t *bytes;
    size_t cap, head, used; /* used: from head on, with the rest that was skipped at the end */
    int count;
};

bool mqtt_queue_init(struct mqtt_queue *queue, size_t cap); /* false: no memory */
void mqtt_queue_fini(struct mqtt_queue *queue);

/* Copies the item; false: no room. */
bool mqtt_queue_put(struct mqtt_queue *queue, const struct mqtt_item *item);
/* The oldest; its pointers are good until mqtt_queue_drop. false: empty. */
bool mqtt_queue_front(const struct mqtt_queue *queue, struct mqtt_item *item);
void mqtt_queue_drop(struct mqtt_queue *queue);
void mqtt_queue_clear(struct mqtt_queue *queue);

#endif
