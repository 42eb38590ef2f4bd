#include "app/homie_link.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/log.h"

#define MEMORY "homie"

/* Receiving thread. The front stays as it is while the connection lives. */
static bool on_message(void *context, const struct message *m)
{
    struct homie_link *h = context;
    size_t n = strlen(h->front);
    bool ours =
        m->topic_len > n && memcmp(m->topic, h->front, n) == 0 && (m->topic[n] == '/' || m->topic[n] == '-');
    enum status st = ours ? inbox_put(h->inbox, m, h->ring_wait_ms) : STATUS_OK;
    return st == STATUS_OK || st == STATUS_INVALID;
}

static bool on_send(void *context, const char *topic, const char *payload, size_t n, bool retain)
{
    struct homie_link *h = context;
    return h->mqtt != NULL && mqtt_publish(h->mqtt, topic, payload, n, 1, retain, 0) == STATUS_OK;
}

static void on_save(void *context, const char *memory, size_t n)
{
    struct homie_link *h = context;
    if (store_save_state(h->store, MEMORY, n > 0 ? memory : "\n", n > 0 ? n : 1) != STATUS_OK)
        log_change(LOG_AT_WARNING, "homie-memory",
                   "what stands below %s could not be noted; it may be left over after a restart", h->front);
}

static void make_tree(struct homie_link *h, const struct site *site, const char *memory)
{
    struct homie_sinks sinks = { .context = h, .send = on_send, .save = on_save };
    h->tree = homie_tree_init(site, &sinks, memory);
}

static enum status connect(struct homie_link *h, const struct site *site, struct why *why)
{
    char filter[HOMIE_TOPIC_MAX], client_id[160];
    const char *filters[] = { filter };
    const int qos[] = { 1 | MQTT_RETAIN_AS_PUBLISHED };
    struct broker_settings broker = site->broker;
    snprintf(h->front, sizeof h->front, "%s/5/%s", site->publish.homie_domain, site->id);
    snprintf(h->will_topic, sizeof h->will_topic, "%.*s/$state", (int)sizeof h->front - 8, h->front);
    snprintf(filter, sizeof filter, "%s/5/+/+/+/set", site->publish.homie_domain);
    snprintf(client_id, sizeof client_id, "%.140s-homie", site->broker.client_id);
    broker.client_id = client_id;
    struct mqtt_options options = { .broker = &broker,
                                    .filters = filters,
                                    .filter_qos = qos,
                                    .filter_count = 1,
                                    .will_topic = h->will_topic,
                                    .will_payload = "lost",
                                    .clean_start = true,
                                    .on_message = on_message,
                                    .context = h,
                                    .event_fd = h->event_fd };
    return mqtt_open(&options, &h->mqtt, why);
}

static char *load_memory(struct homie_link *h)
{
    uint8_t *bytes = NULL;
    size_t n = store_load_state(h->store, MEMORY, &bytes);
    char *memory = n == 0 ? NULL : strndup((const char *)bytes, n);
    free(bytes);
    return memory;
}

enum status homie_link_open(struct homie_link *h, const struct site *site, struct why *why)
{
    char *memory = load_memory(h);
    enum status st = STATUS_OK;
    if (site->publish.homie) {
        make_tree(h, site, memory);
        st = connect(h, site, why);
    } else if (memory != NULL) {
        h->ghosts = homie_memory_topics(memory);
    }
    free(memory);
    return st;
}

static void drop(struct homie_link *h, int wait_ms)
{
    mqtt_close(h->mqtt, wait_ms);
    h->mqtt = NULL;
    homie_tree_fini(h->tree);
    h->tree = NULL;
    free(h->ghosts);
    h->ghosts = NULL;
}

static bool same_root(const struct site *a, const struct site *b)
{
    return strcmp(a->id, b->id) == 0 && strcmp(a->publish.homie_domain, b->publish.homie_domain) == 0;
}

void homie_link_reload(struct homie_link *h, const struct site *old, const struct site *site,
                       const struct engine *engine, struct now now)
{
    struct why why = { "" };
    if (h->tree == NULL || !site->publish.homie || !same_root(old, site)) {
        char *memory = h->tree != NULL ? homie_memory_format(h->tree) : NULL;
        if (memory != NULL)
            on_save(h, memory, strlen(memory));
        free(memory);
        drop(h, 1000);
        if (homie_link_open(h, site, &why) != STATUS_OK)
            log_say(LOG_AT_WARNING, "Homie: %s", why.text);
        return;
    }
    bool connected = h->tree->connected;
    char *memory = homie_memory_format(h->tree);
    homie_tree_fini(h->tree);
    make_tree(h, site, memory);
    free(memory);
    if (connected)
        homie_tree_reloaded(h->tree, engine, now);
}

void homie_link_advance(struct homie_link *h, const struct engine *engine, struct now now)
{
    if (h->mqtt == NULL)
        return;
    mqtt_advance(h->mqtt, now);
    bool fresh = mqtt_take_connected(h->mqtt);
    struct mqtt_state link = mqtt_state(h->mqtt);
    bool up = link.link == MQTT_UP || link.link == MQTT_DEAF;
    if (link.link == MQTT_DEAF)
        log_change(LOG_AT_WARNING, "homie", "Homie: nothing can be set: %s", link.reason);
    else if (link.link == MQTT_DOWN && link.reason[0] != '\0')
        log_change(LOG_AT_NOTICE, "homie", "Homie: %s", link.reason);
    else if (up)
        log_over(LOG_AT_NOTICE, "homie", "Homie: connected again");
    if (fresh && up)
        homie_tree_connected(h->tree, engine, now);
    else if (!up)
        homie_tree_lost(h->tree);
}

static void withdraw_ghosts(struct homie_link *h,
                            bool (*other)(void *context, const char *topic, const char *payload, size_t n,
                                          bool retain, uint32_t expiry_s),
                            void *context)
{
    char topic[HOMIE_TOPIC_MAX];
    size_t at = 0, n;
    while ((n = strcspn(h->ghosts + at, "\n")) > 0) {
        snprintf(topic, sizeof topic, "%.*s", (int)n, h->ghosts + at);
        if (!other(context, topic, "", 0, true, 0))
            break;
        at += n + (h->ghosts[at + n] != '\0');
    }
    memmove(h->ghosts, h->ghosts + at, strlen(h->ghosts + at) + 1);
    if (h->ghosts[0] != '\0')
        return;
    free(h->ghosts);
    h->ghosts = NULL;
    on_save(h, "", 0);
}

void homie_link_look(struct homie_link *h, const struct engine *engine, struct now now,
                     bool (*other)(void *context, const char *topic, const char *payload, size_t n,
                                   bool retain, uint32_t expiry_s),
                     void *context)
{
    if (h->tree != NULL)
        homie_tree_advance(h->tree, engine, now);
    else if (h->ghosts != NULL)
        withdraw_ghosts(h, other, context);
}

mono_t homie_link_deadline(const struct homie_link *h)
{
    if (h->mqtt == NULL)
        return MONO_NEVER;
    return mono_min(mqtt_deadline(h->mqtt), homie_tree_deadline(h->tree));
}

void homie_link_close(struct homie_link *h, int wait_ms)
{
    if (h->tree != NULL)
        homie_tree_stop(h->tree);
    drop(h, wait_ms);
}
