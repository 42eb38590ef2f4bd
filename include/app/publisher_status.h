/* The status document: how the service itself is. */
#ifndef LENTIC_APP_PUBLISHER_STATUS_H
#define LENTIC_APP_PUBLISHER_STATUS_H

#include "app/publisher.h"

/* One JSON object; started: when the service was. */
void publisher_status_format(const struct pump *pump, const struct publisher_news *news, struct now started,
                             struct now now, struct text *out);

#endif
