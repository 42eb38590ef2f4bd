/* Places as they come up while the file is read: room and service first, then in the order of first mention.
 */
#ifndef LENTIC_CONFIG_PLACES_H
#define LENTIC_CONFIG_PLACES_H

#include "config/keys.h"

/* Room for all that the lists of the file can name; makes the room and the service itself. */
void places_init(struct loader *ld);

/* Index of the place; made when there is none yet. name NULL: the id. */
int places_take(struct loader *ld, enum place_kind kind, const char *id, const char *name);

/* -1 when there is none. */
int places_find(const struct site *site, enum place_kind kind, const char *id);

/* The lists of these names into ld->site. */
void places_sources(struct loader *ld, const struct config_setting_t *at);
void places_stores(struct loader *ld, const struct config_setting_t *at);

/* A text that names a place of one kind by its id (int, index into places), for KEY_APPLY; told when unknown.
 */
void places_source(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

/* A text that names any place, "tank/a1", "room", with the nearest one when unknown. */
void places_any(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

#endif
