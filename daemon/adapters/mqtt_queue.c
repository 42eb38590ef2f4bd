#include "adapters/mqtt_queue.h"

#include <stdlib.h>
#include <string.h>

struct entry {
    size_t len; /* of the whole; 0: the rest up to the end is skipped */
    size_t topic_len, payload_len, reply_len, correlation_len; /* reply_len 0: none */
    uint32_t expiry_s;
    int qos;
    bool retain, json, has_correlation;
};

#define ALIGN sizeof(struct entry)

bool mqtt_queue_init(struct mqtt_queue *queue, size_t cap)
{
    size_t rounded = cap / ALIGN * ALIGN;
    *queue = (struct mqtt_queue){ .bytes = malloc(rounded), .cap = rounded };
    return queue->bytes != NULL;
}

void mqtt_queue_fini(struct mqtt_queue *queue)
{
    free(queue->bytes);
    *queue = (struct mqtt_queue){ 0 };
}

static void append(uint8_t **at, const void *bytes, size_t n)
{
    if (n > 0)
        memcpy(*at, bytes, n);
    *at += n;
}

bool mqtt_queue_put(struct mqtt_queue *queue, const struct mqtt_item *item)
{
    struct entry e = { .topic_len = strlen(item->topic) + 1,
                       .payload_len = item->payload_len,
                       .reply_len = item->reply_topic != NULL ? strlen(item->reply_topic) + 1 : 0,
                       .correlation_len = item->correlation != NULL ? item->correlation_len : 0,
                       .expiry_s = item->expiry_s,
                       .qos = item->qos,
                       .retain = item->retain,
                       .json = item->json,
                       .has_correlation = item->correlation != NULL };
    size_t need = sizeof e + e.topic_len + e.payload_len + e.reply_len + e.correlation_len;
    e.len = (need + ALIGN - 1) / ALIGN * ALIGN;
    size_t tail = (queue->head + queue->used) % queue->cap;
    size_t skip = queue->cap - tail < e.len ? queue->cap - tail : 0;
    if (e.len > queue->cap || queue->used + skip + e.len > queue->cap)
        return false;
    if (skip > 0) {
        struct entry end = { .len = 0 };
        memcpy(queue->bytes + tail, &end, sizeof end);
        tail = 0;
    }
    uint8_t *at = queue->bytes + tail;
    append(&at, &e, sizeof e);
    append(&at, item->topic, e.topic_len);
    append(&at, item->payload, e.payload_len);
    append(&at, item->reply_topic, e.reply_len);
    append(&at, item->correlation, e.correlation_len);
    queue->used += skip + e.len;
    queue->count++;
    return true;
}

/* Place of the oldest entry, past a skipped rest. */
static size_t oldest(const struct mqtt_queue *queue, struct entry *e)
{
    memcpy(e, queue->bytes + queue->head, sizeof *e);
    if (e->len > 0)
        return queue->head;
    memcpy(e, queue->bytes, sizeof *e);
    return 0;
}

bool mqtt_queue_front(const struct mqtt_queue *queue, struct mqtt_item *item)
{
    struct entry e;
    if (queue->count == 0)
        return false;
    const uint8_t *at = queue->bytes + oldest(queue, &e) + sizeof e;
    *item = (struct mqtt_item){ .topic = (const char *)at,
                                .payload = at + e.topic_len,
                                .payload_len = e.payload_len,
                                .correlation_len = e.correlation_len,
                                .qos = e.qos,
                                .retain = e.retain,
                                .json = e.json,
                                .expiry_s = e.expiry_s };
    if (e.reply_len > 0)
        item->reply_topic = (const char *)at + e.topic_len + e.payload_len;
    if (e.has_correlation)
        item->correlation = (const char *)at + e.topic_len + e.payload_len + e.reply_len;
    return true;
}

void mqtt_queue_drop(struct mqtt_queue *queue)
{
    struct entry e;
    if (queue->count == 0)
        return;
    size_t place = oldest(queue, &e);
    if (place != queue->head)
        queue->used -= queue->cap - queue->head;
    queue->head = (place + e.len) % queue->cap;
    queue->used -= e.len;
    queue->count--;
    if (queue->count == 0)
        mqtt_queue_clear(queue); /* from the front again: what it never reached costs no memory */
}

void mqtt_queue_clear(struct mqtt_queue *queue)
{
    queue->head = queue->used = 0;
    queue->count = 0;
}
