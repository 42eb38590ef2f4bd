/* What the one-off sums (mix, change, topoff, blend, acclimate) share: the configured site, values with
 * units, finding a tank or a water by id. Each tells its fault on standard error and returns OPTIONS_GO_ON or
 * the exit code. */
#ifndef LENTIC_CLI_SUMS_H
#define LENTIC_CLI_SUMS_H

#include "base/text.h"
#include "cli/options.h"
#include "model/site.h"

#define SUMS_CONF "/etc/lentic/lentic.conf" /* when --conf does not say otherwise */

/* A value option: "--ec 0.38mS/cm". text NULL: not given, *into stays as it is. */
struct sums_value {
    const char *name; /* of the option */
    const char *text;
    enum unit_kind kind;
    const char *unit; /* meant when there is no suffix, and of *into */
    double *into;
};

/* options_read for a verb with one operand (*operand) or, operand NULL, none. */
int sums_read(const struct options *o, int argc, char **argv, const char **operand);

int sums_site(const struct options *o, const char *conf, struct site **out);
int sums_values(const struct options *o, const struct sums_value *values, size_t count);
int sums_tank(const struct options *o, const struct site *site, const char *id, int *tank);
int sums_water(const struct options *o, const struct site *site, const char *id, int *water);

/* Learnt figures that were taken over stand in, as far as the store can be read; told on standard error. */
void sums_learnt(struct site *site);

/* Kind and usual unit of a quantity that an option names. */
int sums_quantity(const struct options *o, const char *name, enum quantity *q);

/* Exit code for a status with its sentence: 1 for STATUS_REFUSED, else 2. */
int sums_refuse(const struct options *o, enum status st, const struct why *why);

/* "CAUTION, ..." on standard output, wrapped, behind indent blanks. */
void sums_caution(const char *words, int indent);

/* A member, or null when v is not finite. */
void sums_member(struct text *t, const char *key, double v);
int sums_print_json(struct text *t);

#endif
