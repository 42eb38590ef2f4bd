/* `lentic check --broker`: the broker of a configuration, tried as the service would use it. */
#ifndef LENTIC_CLI_CHECK_BROKER_H
#define LENTIC_CLI_CHECK_BROKER_H

#include "base/status.h"
#include "model/site.h"

/* Connects with the service's user under an id of its own, subscribes to all that the service hears, and
 * publishes one message to itself below BASE/answer. Waits some seconds at the most. STATUS_INVALID: the
 * settings cannot work; STATUS_IO: not reached; STATUS_REFUSED: reached, and something is not allowed; with
 * the sentence. */
enum status check_broker(const struct site *site, int *subscriptions, struct why *why) LENTIC_CHECKED;

#endif
