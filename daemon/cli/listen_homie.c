/* Devices that describe themselves by the Homie convention (open, homieiot.github.io): 5.x in one document a
 * device, 4.x in a topic an attribute. */
#include <stdio.h>
#include <string.h>

#include "cli/listen.h"
#include "wire/homie.h"
#include "wire/json.h"

#define LABELS_MAX 4096

static struct listen_label *label_of(struct listen_heard *heard, const char *topic)
{
    for (int i = 0; i < heard->label_count; i++)
        if (strcmp(heard->labels[i].topic, topic) == 0)
            return &heard->labels[i];
    if (heard->label_count == LABELS_MAX || strlen(topic) >= LISTEN_TOPIC_MAX)
        return NULL;
    struct listen_label *l = &heard->labels[heard->label_count++];
    snprintf(l->topic, sizeof l->topic, "%s", topic);
    return l;
}

struct description {
    struct listen_heard *heard;
    char device[LISTEN_TOPIC_MAX]; /* topic of the device */
};

/* "/nodes/NODE/properties/PROPERTY/FACT" */
static void keep_fact(void *context, const char *pointer, const struct json_item *item)
{
    struct description *d = context;
    char node[64], property[64], fact[32], topic[LISTEN_TOPIC_MAX + 140];
    if (sscanf(pointer, "/nodes/%63[^/]/properties/%63[^/]/%31[^/]", node, property, fact) != 3)
        return;
    snprintf(topic, sizeof topic, "%s/%s/%s", d->device, node, property);
    struct listen_label *l = label_of(d->heard, topic);
    if (l == NULL)
        return;
    if (strcmp(fact, "unit") == 0 && item->kind == JSON_KIND_TEXT)
        snprintf(l->unit, sizeof l->unit, "%.*s", (int)sizeof l->unit - 1, item->text);
    else if (strcmp(fact, "name") == 0 && item->kind == JSON_KIND_TEXT)
        snprintf(l->name, sizeof l->name, "%.*s", (int)sizeof l->name - 1, item->text);
    else if (strcmp(fact, "settable") == 0)
        l->settable = item->number != 0;
    (void)listen_clean(l->unit);
    (void)listen_clean(l->name);
}

static void take_description(struct listen_heard *heard, const struct message *m, const char *device)
{
    struct description d = { .heard = heard };
    struct json_doc doc;
    char type[40];
    snprintf(d.device, sizeof d.device, "%.*s", (int)sizeof d.device - 1, device);
    if (json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK)
        return;
    json_doc_text(&doc, "/type", type, sizeof type);
    if (strncmp(type, HOMIE_TYPE_FRONT, strlen(HOMIE_TYPE_FRONT)) == 0)
        listen_own(heard, device);
    else
        json_doc_walk(&doc, keep_fact, &d);
    json_doc_fini(&doc);
}

/* 4.x: ROOT/DEVICE/NODE/PROPERTY/$unit and its like. */
static void take_attribute(struct listen_heard *heard, const struct message *m, const char *topic,
                           const char *name)
{
    struct listen_label *l = label_of(heard, topic);
    if (l == NULL)
        return;
    if (strcmp(name, "unit") == 0)
        snprintf(l->unit, sizeof l->unit, "%.*s", (int)m->payload_len, m->payload);
    else if (strcmp(name, "name") == 0)
        snprintf(l->name, sizeof l->name, "%.*s", (int)m->payload_len, m->payload);
    else if (strcmp(name, "settable") == 0)
        l->settable = m->payload_len == 4 && memcmp(m->payload, "true", 4) == 0;
    (void)listen_clean(l->unit);
    (void)listen_clean(l->name);
}

static int levels_of(const char *topic)
{
    int n = 1;
    for (; *topic != '\0'; topic++)
        n += *topic == '/';
    return n;
}

bool listen_homie(struct listen_heard *heard, const struct message *m)
{
    char topic[LISTEN_TOPIC_MAX];
    snprintf(topic, sizeof topic, "%.*s", (int)m->topic_len, m->topic);
    char *attribute = strstr(topic, "/$");
    if (attribute == NULL)
        return false;
    *attribute = '\0';
    attribute += 2;
    if (strcmp(attribute, "description") == 0)
        take_description(heard, m, topic);
    else if (levels_of(topic) >= 4)
        take_attribute(heard, m, topic, attribute);
    return true;
}
