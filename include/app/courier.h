/* Carries messages for people out of the outbox through the configured command, one at a time, with retry and
 * backoff; high priority first. */
#ifndef LENTIC_APP_COURIER_H
#define LENTIC_APP_COURIER_H

#include "adapters/store.h"
#include "model/effect.h"

struct notify;

struct courier {
    const struct site *site;
    struct store *store;
    struct notify *notify;   /* the delivery that is running */
    struct outbox_item item; /* what it carries */
    bool carrying;
    mono_t next_look;
    int failures; /* in a row */
    char reason[160];
};

void courier_init(struct courier *c, const struct site *site, struct store *store);
void courier_fini(struct courier *c);

/* An alert that asks to be announced goes into the outbox. */
void courier_effect(struct courier *c, const struct effect *e);

/* Starts what is due, takes results. */
void courier_advance(struct courier *c, struct now now);
mono_t courier_deadline(const struct courier *c);
int courier_fd(const struct courier *c); /* readable when the command has ended; -1 */

#endif
