/* The plain groups: site, broker, store, publish, notify. */
#ifndef LENTIC_CONFIG_SETTINGS_H
#define LENTIC_CONFIG_SETTINGS_H

#include "config/keys.h"

/* Reads the five groups into ld->site, defaults where nothing is said. Tells their faults. Each takes the
 * group and is called for those that are there; settings_defaults comes first, settings_complete last. */
void settings_defaults(struct site *site);
void settings_site(struct loader *ld, const struct config_setting_t *at);
void settings_broker(struct loader *ld, const struct config_setting_t *at);
void settings_store(struct loader *ld, const struct config_setting_t *at);
void settings_publish(struct loader *ld, const struct config_setting_t *at);
void settings_commands(struct loader *ld, const struct config_setting_t *at);
void settings_notify(struct loader *ld, const struct config_setting_t *at);

/* Defaults that depend on others: base and client_id from the site's id, the port from tls. */
void settings_complete(struct loader *ld);

#endif
