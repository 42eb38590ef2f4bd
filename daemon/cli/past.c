#include "cli/past.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "adapters/clock.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#define POINTS_MOST 100000

enum status past_parse_time(const char *text, utc_t *out)
{
    static const char *const forms[] = { "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M",
                                         "%Y-%m-%d %H:%M", "%Y-%m-%d" };
    utc_t t;
    bool zoned;
    if (utc_parse(text, strlen(text), &t, &zoned) == STATUS_OK && zoned) {
        *out = t;
        return STATUS_OK;
    }
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++) {
        struct tm tm = { .tm_isdst = -1 };
        const char *end = strptime(text, forms[i], &tm);
        if (end == NULL || *end != 0)
            continue;
        struct tm asked = tm;
        time_t s = mktime(&tm);
        /* mktime makes the 31st of February the 3rd of March. */
        if (s == (time_t)-1 || tm.tm_mday != asked.tm_mday)
            return STATUS_INVALID;
        *out = (utc_t){ (int64_t)s * MS_PER_S };
        return STATUS_OK;
    }
    return STATUS_INVALID;
}

struct asked {
    const char *conf, *store, *from, *to;
    double days, hours;
    double points;
    bool csv, json;
};

static int read_span(struct past_job *job, const struct asked *asked)
{
    job->to = clock_now().utc;
    if (asked->to != NULL && past_parse_time(asked->to, &job->to) != STATUS_OK)
        return options_fail(job->options, 2,
                            "--to takes 2026-03-01, \"2026-03-01 12:00\" or RFC 3339, not \"%.40s\"",
                            asked->to);
    double back_ms = asked->days * (double)MS_PER_DAY + asked->hours * (double)MS_PER_HOUR;
    job->from.ms = job->to.ms - (back_ms > 0 ? (int64_t)back_ms : MS_PER_DAY);
    if (asked->from != NULL && past_parse_time(asked->from, &job->from) != STATUS_OK)
        return options_fail(job->options, 2,
                            "--from takes 2026-03-01, \"2026-03-01 12:00\" or RFC 3339, not \"%.40s\"",
                            asked->from);
    if (asked->from != NULL && back_ms > 0 && asked->to == NULL)
        job->to.ms = job->from.ms + (int64_t)back_ms;
    if (job->from.ms >= job->to.ms)
        return options_fail(job->options, 2, "--from must lie before --to");
    return OPTIONS_GO_ON;
}

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

static int find_store(const struct asked *asked, struct past_job *job, struct site **site)
{
    job->path = asked->store;
    if (job->path != NULL)
        return OPTIONS_GO_ON;
    int code = sums_site(job->options, asked->conf, site);
    if (code != OPTIONS_GO_ON)
        return code;
    job->path = (*site)->store.path;
    if ((*site)->timezone != NULL) {
        setenv("TZ", (*site)->timezone, 1);
        tzset();
    }
    return OPTIONS_GO_ON;
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
    struct asked asked = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "from", "TIME", "begin; default: a day before the end", OPTION_TEXT, &asked.from, 0, 0 },
        { "to", "TIME", "end; default: now", OPTION_TEXT, &asked.to, 0, 0 },
        { "days", "N", "so many days", OPTION_NUMBER, &asked.days, 0, 36500 },
        { "hours", "N", "so many hours", OPTION_NUMBER, &asked.hours, 0, 876000 },
        { "points", "N",
          "lines of the table; with --csv or --json means over N equal spans\n"
          "instead of every reading",
          OPTION_NUMBER, &asked.points, 1, POINTS_MOST },
        { "csv", NULL, "comma separated, times in UTC", OPTION_FLAG, &asked.csv, 0, 0 },
        { "json", NULL, "one JSON object, times in UTC", OPTION_FLAG, &asked.json, 0, 0 },
        { "conf", "FILE", "configuration that names the store", OPTION_TEXT, &asked.conf, 0, 0 },
        { "store", "FILE", "the store itself; no configuration is read", OPTION_TEXT, &asked.store, 0, 0 },
    };
    const struct options options = {
        .verb = "past",
        .operands = "PLACE QUANTITY",
        .about = "History of one quantity at one place, while the service goes on writing.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic past a1 temp\n  lentic past tank/a1 ec --days 7\n"
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
        code = find_store(&asked, &job, &site);
    if (code == OPTIONS_GO_ON)
        code = read_span(&job, &asked);
    job.points = (int)asked.points;
    if (code == OPTIONS_GO_ON)
        code = answer(&asked, &job);
    site_free(site);
    free(operands);
    return code;
}
