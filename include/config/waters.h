/* Salts, waters and kinds of animals. */
#ifndef LENTIC_CONFIG_WATERS_H
#define LENTIC_CONFIG_WATERS_H

#include "config/keys.h"

/* Each reads one list into ld->site; waters need salts and sources to be there already. */
void waters_salts(struct loader *ld, const struct config_setting_t *at);
void waters_waters(struct loader *ld, const struct config_setting_t *at);
void waters_kits(struct loader *ld, const struct config_setting_t *at);
void waters_stocks(struct loader *ld, const struct config_setting_t *at);

/* An id in place of an index, for KEY_APPLY (target: int); told with the nearest id when unknown. */
void waters_water_ref(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target);
void waters_stock_ref(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target);

/* All of Q_COUNT to NaN. */
void waters_unset(double *values);

#endif
