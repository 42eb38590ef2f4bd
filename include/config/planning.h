/* The group `plan`: what the keeper's week rests on. */
#ifndef LENTIC_CONFIG_PLANNING_H
#define LENTIC_CONFIG_PLANNING_H

#include "config/keys.h"

void planning_defaults(struct plan_settings *plan);
void planning_plan(struct loader *ld, const struct config_setting_t *at);

#endif
