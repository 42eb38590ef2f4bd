/* Telling the service that another device stands at a place: from lentic probes --exchange. */
#ifndef LENTIC_CLI_PROBES_EXCHANGE_H
#define LENTIC_CLI_PROBES_EXCHANGE_H

#include "cli/options.h"
#include "model/site.h"

struct exchange_wish {
    const char *probe; /* "tank/a1/ph", or the probe's name */
    const char *device, *since, *who, *why;
};

/* Exit code. */
int probes_exchange(const struct options *o, const struct site *site, const struct exchange_wish *wish);

#endif
