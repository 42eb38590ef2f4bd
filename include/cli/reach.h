/* The broker that a verb speaks to. */
#ifndef LENTIC_CLI_REACH_H
#define LENTIC_CLI_REACH_H

#include "cli/options.h"
#include "model/site.h"

#define REACH_HOST_MAX 256

/* Takes "HOST" or "HOST:PORT" into the settings (NULL: they stay); option: as the fault names it,
 * "--broker". host: room for REACH_HOST_MAX bytes, which the settings point into. Returns OPTIONS_GO_ON or
 * the exit code after it has told why. */
int reach_parse(const struct options *o, const char *option, const char *text, struct broker_settings *broker,
                char *host);

#endif
