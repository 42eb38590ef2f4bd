/* What the service says of a tank at this moment: the values that the one-off sums start from when they are
 * not given. */
#ifndef LENTIC_CLI_LIVE_H
#define LENTIC_CLI_LIVE_H

#include "cli/options.h"
#include "model/site.h"

struct live {
    double value[Q_COUNT]; /* stored units; NaN: not known, or too old to start from */
    double age_s[Q_COUNT];
    bool hand[Q_COUNT]; /* of a hand test */
};

/* Asks the broker for the tank's document. Returns OPTIONS_GO_ON, or the exit code after telling why. */
int live_read(const struct options *o, const struct site *site, int tank, struct live *out);

/* The document itself. STATUS_INVALID: not one of ours. */
enum status live_parse(const char *json, size_t n, struct live *out) LENTIC_CHECKED;

/* One value for a sum, told on standard error; a tank without it now: exit code 2, say it with --now. */
int live_start(const struct options *o, const struct site *site, int tank, enum quantity q, double *value);

/* "conductivity at 25 °C 231 µS/cm, measured 40 s ago" on standard error, so that the reader of the sum knows
 * where it started. */
void live_tell(const struct live *live, enum quantity q);

#endif
