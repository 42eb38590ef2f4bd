/* Outbox of the store: messages to people, kept until delivered. Beyond STORE_OUTBOX_MAX the oldest of the
 * lowest priority gives way, counted. What is held waits for store_outbox_release. Everything is committed
 * before it returns. */
#ifndef LENTIC_ADAPTERS_STORE_OUTBOX_H
#define LENTIC_ADAPTERS_STORE_OUTBOX_H

#include "adapters/store.h"

#define STORE_OUTBOX_MAX 200

struct outbox_item {
    int64_t id;
    utc_t at;
    int attempts;
    enum priority priority;
    bool held;
    char ref[96]; /* the alert, or "test", "digest", "summary" */
    char json[4096];
    char text[4096];
};
enum status store_outbox_add(struct store *store, const struct outbox_item *item) LENTIC_CHECKED;
enum status store_outbox_next(struct store *store, utc_t due,
                              struct outbox_item *out) LENTIC_CHECKED; /* STATUS_NONE */
enum status store_outbox_done(struct store *store, int64_t id) LENTIC_CHECKED;
enum status store_outbox_retry(struct store *store, int64_t id, utc_t next) LENTIC_CHECKED;

/* What is held, oldest first. */
enum status store_outbox_each_held(struct store *store,
                                   void (*each)(void *context, const struct outbox_item *item),
                                   void *context) LENTIC_CHECKED;
/* The digest takes the place of everything that is held, in one transaction. */
enum status store_outbox_release(struct store *store, const struct outbox_item *digest) LENTIC_CHECKED;

#endif
