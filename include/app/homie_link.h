/* The Homie tree on a connection of its own: a connection has one will only, and the convention wants it on
 * the root's $state, while the service's own status has the other one. The session is a clean one: what was
 * set while nobody listened is void. */
#ifndef LENTIC_APP_HOMIE_LINK_H
#define LENTIC_APP_HOMIE_LINK_H

#include "adapters/inbox.h"
#include "adapters/mqtt.h"
#include "adapters/store.h"
#include "app/homie_tree.h"

struct homie_link {
    struct mqtt *mqtt; /* NULL: switched off */
    struct homie_tree *tree;
    struct store *store;
    struct inbox *inbox;
    int event_fd, ring_wait_ms;
    char front[HOMIE_TOPIC_MAX]; /* of all our devices */
    char will_topic[HOMIE_TOPIC_MAX];
    char *ghosts; /* switched off: topics of before, to be withdrawn over the other connection; one a line */
};

/* With publish.homie off, only ghosts are looked for. STATUS_INVALID, STATUS_IO: as mqtt_open. */
enum status homie_link_open(struct homie_link *h, const struct site *site, struct why *why) LENTIC_CHECKED;

/* Another configuration; the old one is still there. */
void homie_link_reload(struct homie_link *h, const struct site *old, const struct site *site,
                       const struct engine *engine, struct now now);

/* Connecting, lost and found; with every wake-up. */
void homie_link_advance(struct homie_link *h, const struct engine *engine, struct now now);

/* What is due at the broker. other: sends over the service's own connection. */
void homie_link_look(struct homie_link *h, const struct engine *engine, struct now now,
                     bool (*other)(void *context, const char *topic, const char *payload, size_t n,
                                   bool retain, uint32_t expiry_s),
                     void *context);
mono_t homie_link_deadline(const struct homie_link *h);

/* Clean stop: all disconnected, and acknowledged if that comes within wait_ms. */
void homie_link_close(struct homie_link *h, int wait_ms);

#endif
