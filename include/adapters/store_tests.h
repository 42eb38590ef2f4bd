/* Hand tests out of the store: readings of their quantity that a person made, with their uncertainty. Only
 * those that count: neither corrected nor withdrawn. */
#ifndef LENTIC_ADAPTERS_STORE_TESTS_H
#define LENTIC_ADAPTERS_STORE_TESTS_H

#include "adapters/store_query.h"

struct test_row {
    int64_t entry; /* its number in the journal */
    utc_t t;
    double value, sd; /* sd NaN: not said */
    char kit[48], lot[48], who[ALERT_WHO_MAX];
};

/* Of [from, to), oldest first. */
enum status store_reader_tests(struct store_reader *reader, const char *place, const char *quantity,
                               utc_t from, utc_t to, void (*each)(void *context, const struct test_row *row),
                               void *context) LENTIC_CHECKED;

#endif
