/* Templates for hubs. */
#ifndef LENTIC_CONFIG_ANNOUNCEMENTS_H
#define LENTIC_CONFIG_ANNOUNCEMENTS_H

#include "config/keys.h"

/* Reads the list into ld->site; tells names that are not known with the nearest one. */
void announcements_list(struct loader *ld, const struct config_setting_t *at);

#endif
