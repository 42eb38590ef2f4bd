/* Announcements of the configuration at the broker: sent on every connection and after a reload, what is no
 * more is withdrawn, also by a later run. */
#ifndef LENTIC_APP_ANNOUNCER_H
#define LENTIC_APP_ANNOUNCER_H

#include "adapters/store.h"
#include "app/publisher.h"
#include "config/load.h"

struct announcer {
    const struct site *site;
    struct store *store;
    publisher_send *send;
    void *context;
    bool pending;
    int at, thing;   /* where it goes on */
    char *ghosts;    /* topics to be withdrawn, one a line; NULL: none */
    char *withdrawn; /* and once more on the next connection */
};

/* What is to be withdrawn is found in the store. */
void announcer_init(struct announcer *a, const struct site *site, struct store *store, publisher_send *send,
                    void *context);
void announcer_fini(struct announcer *a);

/* A new connection, or another configuration: everything again. */
void announcer_connected(struct announcer *a);

/* Sends until all is out or there is no room; goes on there the next time. */
void announcer_advance(struct announcer *a);

/* config_load, and what only filling in can show: payloads that begin like JSON are JSON then, and no two
 * things have one topic. */
enum status announcer_load(const char *path, struct site **out, struct config_faults *faults) LENTIC_CHECKED;

#endif
