/* Tanks, with what they take over from their kind of animals. */
#ifndef LENTIC_CONFIG_TANKS_H
#define LENTIC_CONFIG_TANKS_H

#include "config/keys.h"

/* Reads the list into ld->site; waters and stocks must be there. Makes places for tanks, racks and circuits.
 */
void tanks_list(struct loader *ld, const struct config_setting_t *at);

#endif
