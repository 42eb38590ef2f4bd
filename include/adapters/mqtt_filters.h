/* Lists of topic filters: what is wanted, and what the broker's session may still have from before. */
#ifndef LENTIC_ADAPTERS_MQTT_FILTERS_H
#define LENTIC_ADAPTERS_MQTT_FILTERS_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"

struct mqtt_filters {
    char **names;
    int *qos;
    int count;
};

/* Allocate from the heap at start-up and reload only; out of memory ends the process. */
void mqtt_filters_add(struct mqtt_filters *list, const char *name,
                      int qos); /* once each; the later qos stays */
void mqtt_filters_add_all(struct mqtt_filters *list, const struct mqtt_filters *from);
/* Those of a that b does not have. */
struct mqtt_filters mqtt_filters_without(const struct mqtt_filters *a, const struct mqtt_filters *b);
bool mqtt_filters_have(const struct mqtt_filters *list, const char *name);
void mqtt_filters_fini(struct mqtt_filters *list);

/* The file: the client id, then a filter a line. load: nothing when there is no such file, or it is of
 * another client id or cannot be read: then what an earlier run subscribed is not known. */
void mqtt_filters_load(struct mqtt_filters *list, const char *path, const char *client_id);
enum status mqtt_filters_save(const struct mqtt_filters *list, const char *path, const char *client_id,
                              struct why *why) LENTIC_CHECKED;

#endif
