#include "cli/past.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#define POINTS_MOST 100000

struct asked {
    struct stretch_asked stretch;
    double points;
    bool csv, json;
};

/* "a1" for "tank/a1"; the room stands for itself. */
static int read_operands(struct past_job *job, const char **operands, int count)
{
    if (count != 2)
        return options_fail(job->options, 2, "names a place and a quantity: lentic past a1 temp");
    bool full = strchr(operands[0], '/') != NULL || strcmp(operands[0], "room") == 0;
    snprintf(job->place, sizeof job->place, "%s%s", full ? "" : "tank/", operands[0]);
    job->quantity = quantity_find(operands[1], strlen(operands[1]));
    return job->quantity == Q_COUNT ? sums_quantity(job->options, operands[1], &job->quantity)
                                    : OPTIONS_GO_ON;
}

static int answer(const struct asked *asked, struct past_job *job)
{
    struct why why;
    enum status st = store_reader_open(job->path, &job->reader, &why);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    int code = asked->json ? past_print_json(job) : asked->csv ? past_print_csv(job) : past_print_people(job);
    store_reader_close(job->reader);
    if (fflush(stdout) != 0 || ferror(stdout))
        return options_fail(job->options, 3, "the output cannot be written");
    return code;
}

int past_main(int argc, char **argv)
{
    struct asked asked = { .stretch.conf = SUMS_CONF };
    const struct option items[] = {
        STRETCH_TIME_OPTIONS(asked.stretch),
        { "points", "N",
          "lines of the table; with --csv or --json means over N equal spans\n"
          "instead of every reading",
          OPTION_NUMBER, &asked.points, 1, POINTS_MOST },
        { "csv", NULL, "comma separated, times in UTC", OPTION_FLAG, &asked.csv, 0, 0 },
        { "json", NULL, "one JSON object, times in UTC", OPTION_FLAG, &asked.json, 0, 0 },
        STRETCH_STORE_OPTIONS(asked.stretch),
    };
    const struct options options = {
        .verb = "past",
        .operands = "PLACE QUANTITY",
        .about = "History of one quantity at one place, by probe and by hand test, while the service goes on "
                 "writing.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic past a1 temp\n  lentic past tank/a1 ec --days 7\n  lentic past a1 gh --days 365\n"
                "  lentic past room temp --from 2026-03-01 --to \"2026-03-02 12:00\" --csv\n\n"
                "Times without a zone are local. Exit code 1: there is nothing for that span.",
    };
    struct past_job job = { .options = &options };
    struct site *site = NULL;
    const char **operands = calloc((size_t)argc + 1, sizeof *operands);
    int count = 0;
    if (operands == NULL)
        return options_fail(&options, 3, "no memory");
    int code = options_read(&options, argc, argv, operands, &count);
    if (code == OPTIONS_GO_ON)
        code = read_operands(&job, operands, count);
    if (code == OPTIONS_GO_ON)
        code = stretch_store(&options, &asked.stretch, &job.path, &site);
    if (code == OPTIONS_GO_ON)
        code = stretch_read(&options, &asked.stretch, &job.from, &job.to);
    job.points = (int)asked.points;
    if (code == OPTIONS_GO_ON)
        code = answer(&asked, &job);
    site_free(site);
    free(operands);
    return code;
}
