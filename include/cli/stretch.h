/* Which stretch of which store: what past, export and backup ask in the same words. Each tells its fault on
 * standard error and returns OPTIONS_GO_ON or the exit code. */
#ifndef LENTIC_CLI_STRETCH_H
#define LENTIC_CLI_STRETCH_H

#include "cli/options.h"
#include "model/site.h"

/* As the options below give it; point into argv. */
struct stretch_asked {
    const char *conf, *store, *from, *to;
    double days, hours;
};

/* clang-format off */
#define STRETCH_STORE_OPTIONS(asked)                                                                            \
    { "conf", "FILE", "configuration that names the store", OPTION_TEXT, &(asked).conf, 0, 0 },              \
    { "store", "FILE", "the store itself; no configuration is read", OPTION_TEXT, &(asked).store, 0, 0 }

#define STRETCH_TIME_OPTIONS(asked)                                                                             \
    { "from", "TIME", "begin; default: a day before the end", OPTION_TEXT, &(asked).from, 0, 0 },            \
    { "to", "TIME", "end; default: now", OPTION_TEXT, &(asked).to, 0, 0 },                                   \
    { "days", "N", "so many days", OPTION_NUMBER, &(asked).days, 0, 36500 },                                 \
    { "hours", "N", "so many hours", OPTION_NUMBER, &(asked).hours, 0, 876000 }
/* clang-format on */

/* The span asked for, by default the last day. */
int stretch_read(const struct options *o, const struct stretch_asked *asked, utc_t *from, utc_t *to);

/* Path of the store; *site is read only when the configuration must name it, and is the caller's to free. */
int stretch_store(const struct options *o, const struct stretch_asked *asked, const char **path,
                  struct site **site);

/* "2026-03-01", "2026-03-01 12:00[:00]" in local time, or RFC 3339 with its zone. */
enum status stretch_parse_time(const char *text, utc_t *out) LENTIC_CHECKED;

#endif
