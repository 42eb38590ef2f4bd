/* Which device stood at a place since when: dated, kept for ever. */
#ifndef LENTIC_ADAPTERS_STORE_DEVICE_H
#define LENTIC_ADAPTERS_STORE_DEVICE_H

#include "adapters/store.h"

/* The same probe and time again replaces it. Committed before it returns. */
enum status store_put_device(struct store *store, int stream, const char *device, utc_t since) LENTIC_CHECKED;

/* Oldest first, of streams the site still has. */
enum status store_each_device(struct store *store,
                              void (*each)(void *context, int stream, const char *device, utc_t since),
                              void *context) LENTIC_CHECKED;

#endif
