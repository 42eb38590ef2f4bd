/* Inside of `lentic past`: one question to the store, answered as chart and table, CSV or JSON. */
#ifndef LENTIC_CLI_PAST_H
#define LENTIC_CLI_PAST_H

#include <stdbool.h>
#include "adapters/store_query.h"
#include "cli/options.h"
#include "model/quantity.h"

struct past_job {
    const struct options *options; /* for messages */
    struct store_reader *reader;
    const char *path; /* of the store */
    char place[48];
    enum quantity quantity;
    utc_t from, to;
    int points; /* 0: as usual for the form */
};

/* Each returns the exit code: 1 when nothing is there, 3 when the store cannot be read. */
int past_print_people(const struct past_job *job);
int past_print_csv(const struct past_job *job);
int past_print_json(const struct past_job *job);

/* The history of what was asked as that many points at most. */
enum status past_points(const struct past_job *job, int points, struct history_point *out,
                        int *count) LENTIC_CHECKED;

/* Tells that there is nothing, and the nearest that there is. Returns 1. */
int past_nothing(const struct past_job *job);

#endif
