/* `alerts`: settings of single alerts, or of all of one kind, laid over the defaults. */
#ifndef LENTIC_CONFIG_OVERRIDES_H
#define LENTIC_CONFIG_OVERRIDES_H

#include "config/keys.h"

/* Reads the list and applies it to the slots that site_derive_alerts made, later entries over earlier ones.
 * One that meets no slot is told when the file is sound otherwise. */
void overrides_list(struct loader *ld, const struct config_setting_t *at);

#endif
