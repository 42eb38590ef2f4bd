/* What devices tell of themselves in their documents: id, battery, link; keys of a probe entry. */
#ifndef LENTIC_CONFIG_DEVICES_H
#define LENTIC_CONFIG_DEVICES_H

#include "config/keys.h"

/* Target: struct probe_entry. */
extern const struct key devices_rows[];
extern const size_t devices_count;

#endif
