/* Everything the store knows of a span, row by row, as its plain views show it to people. */
#ifndef LENTIC_ADAPTERS_STORE_EXPORT_H
#define LENTIC_ADAPTERS_STORE_EXPORT_H

#include "adapters/store_query.h"

enum export_what {
    EXPORT_READINGS, /* in the order of place and quantity, then time, the hand tests behind those of the
                        probes; the others in the order of time */
    EXPORT_QUARTER_HOURS,
    EXPORT_DAYS,
    EXPORT_ALERTS,
    EXPORT_EVENTS,
    EXPORT_NOTES,
    EXPORT_COUNT
};

/* "readings", "quarter-hours", ... */
const char *export_name(enum export_what what);

enum export_kind { EXPORT_NULL, EXPORT_WHOLE, EXPORT_NUMBER, EXPORT_TEXT };

struct export_cell {
    enum export_kind kind;
    long long whole;
    double number;
    const char *text; /* until the next row */
};

#define EXPORT_COLUMNS_MAX 32

struct export_row {
    int count;
    const char *names[EXPORT_COLUMNS_MAX];
    struct export_cell cells[EXPORT_COLUMNS_MAX];
};

/* Every row of [from, to). place, quantity: only these; NULL: all (alerts know no quantity, it is not asked
 * of them). Rows are read as they are handed out: a span of years takes no memory. STATUS_IO: cannot be
 * read. */
enum status store_reader_export(struct store_reader *reader, enum export_what what, const char *place,
                                const char *quantity, utc_t from, utc_t to,
                                void (*each)(void *context, const struct export_row *row),
                                void *context) LENTIC_CHECKED;

#endif
