/* Probe entries: which topic speaks for which places, and what its payload holds. */
#ifndef LENTIC_CONFIG_PROBES_H
#define LENTIC_CONFIG_PROBES_H

#include "config/keys.h"

/* Reads the list into ld->site; tanks and all other places must be there. An entry at fault is left out. */
void probes_list(struct loader *ld, const struct config_setting_t *at);

/* After site_derive_streams: the same stream twice, values that need a temperature and have none, and
 * patterns that would hear what the daemon itself publishes. */
void probes_check_streams(struct loader *ld);

#endif
