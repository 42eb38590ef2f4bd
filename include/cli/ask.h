/* What the verbs that ask the service for something share: finding the alert or place a word means, who asks
 * and why, the request and its answer. */
#ifndef LENTIC_CLI_ASK_H
#define LENTIC_CLI_ASK_H

#include "base/status.h"
#include "base/text.h"
#include "cli/options.h"
#include "model/site.h"

/* A verb about an alert (tank/a1/temp-low, a1/temp-low) or all alerts of a place (tank/a1, a1, room). */
struct ask_verb {
    const char *name;  /* of the verb and of the command */
    const char *about; /* what it does */
    const char *more;  /* examples and notes */
    const char *span;  /* help of --for; NULL: the verb takes none */
    bool needs_span, needs_why;
    double span_most; /* s */
};

/* The whole verb. Exit code 0 done, 1 refused, 2 usage, 3 the service does not answer. */
int ask_main(const struct ask_verb *verb, int argc, char **argv);

/* *alert -1: the whole place. STATUS_INVALID with the nearest name known. */
enum status ask_target(const struct site *site, const char *word, int *place, int *alert,
                       struct why *why) LENTIC_CHECKED;

/* given, or the login name. */
const char *ask_who(const char *given);

struct ask_request {
    int place, alert;             /* -1 */
    double minutes;               /* NaN: not said */
    const char *what, *who, *why; /* NULL: not said */
};
void ask_format(const struct site *site, const struct ask_request *r, struct text *json);

/* Sends the request, prints the answer (json: one object). Returns the exit code. */
int ask_send(const struct options *o, const struct site *site, const char *command,
             const struct ask_request *r, bool json);

#endif
