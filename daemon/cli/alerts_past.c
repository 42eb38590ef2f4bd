/* What happened to the alerts, from the store. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/store_query.h"
#include "base/text.h"
#include "cli/alerts.h"
#include "show/width.h"

#define LINE_ROOM 4096
#define INDENT    22 /* of what does not fit on a line */

struct lister {
    const struct alerts_job *job;
    int count;
    int columns; /* of the terminal */
};

static void put(struct text *out, const char *key, const char *s)
{
    json_key(out, key);
    if (s[0] != '\0')
        json_string(out, s);
    else
        json_null(out);
}

static void print_json(struct lister *l, const struct alert_row *row)
{
    char line[LINE_ROOM];
    struct text out = text_over(line, sizeof line);
    json_open(&out, '{');
    json_key(&out, "t");
    json_time(&out, row->t);
    put(&out, "place", row->place);
    put(&out, "kind", row->kind);
    put(&out, "change", row->change);
    json_key(&out, "announced");
    json_bool(&out, row->announced);
    put(&out, "state", row->state);
    put(&out, "priority", row->priority);
    json_key(&out, "value");
    json_number(&out, row->value, -1);
    json_key(&out, "limit");
    json_number(&out, row->limit, -1);
    put(&out, "unit", row->unit);
    put(&out, "cause", row->cause);
    put(&out, "evidence", row->evidence);
    put(&out, "action", row->action);
    put(&out, "who", row->who);
    put(&out, "why", row->why);
    json_close(&out, '}');
    printf("%s%s", l->count > 0 ? ",\n" : "", line);
}

static const char *change_words(const char *change)
{
    static const char *const words[][2] = {
        { "raise", "BEGAN" },         { "clear", "over" },
        { "remind", "reminder" },     { "realarm", "still not over" },
        { "ack", "acknowledged" },    { "reset", "reset" },
        { "shelve", "put aside" },    { "unshelve", "no longer put aside" },
        { "suppress", "kept quiet" }, { "unsuppress", "no longer kept quiet" },
        { "out", "out of service" },  { "back", "back in service" },
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(change, words[i][0]) == 0)
            return words[i][1];
    return change;
}

/* "Tue 2026-03-03 14:05  BEGAN  high  tank/a1/temp-low: heater not heating; 20.3 °C ...". */
static void print_line(const struct lister *l, const struct alert_row *row)
{
    char when[40], words[1024], line[LINE_ROOM];
    struct text t = text_over(words, sizeof words), out = text_over(line, sizeof line);
    text_printf(&out, "%s  %-14s %-6s  ", alerts_clock(row->t, when, sizeof when), change_words(row->change),
                row->priority);
    text_printf(&t, "%s/%s", row->place, row->kind);
    bool begun = strcmp(row->change, "raise") == 0, deed = !begun && strcmp(row->change, "clear") != 0;
    if (begun && row->cause[0] != '\0')
        text_printf(&t, ": %s", row->cause);
    if (begun && row->evidence[0] != '\0')
        text_printf(&t, "; %s", row->evidence);
    if (deed && row->who[0] != '\0')
        text_printf(&t, " by %s", row->who);
    if (deed && row->why[0] != '\0')
        text_printf(&t, " (%s)", row->why);
    width_wrap(&out, words, l->columns, INDENT, width_of(line));
    fputs(line, stdout);
}

/* What people heard of, and what people did. */
static bool is_shown(const struct alerts_job *job, const struct alert_row *row)
{
    static const char *const deeds[] = { "ack", "reset", "shelve", "unshelve", "out", "back" };
    if (job->all || row->announced)
        return true;
    for (size_t i = 0; i < sizeof deeds / sizeof *deeds; i++)
        if (strcmp(row->change, deeds[i]) == 0)
            return true;
    return false;
}

static void take(void *context, const struct alert_row *row)
{
    struct lister *l = context;
    if (!is_shown(l->job, row))
        return;
    if (l->job->json)
        print_json(l, row);
    else
        print_line(l, row);
    l->count++;
}

int alerts_past(const struct alerts_job *job)
{
    struct lister l = { job, 0, isatty(STDOUT_FILENO) == 1 ? alerts_columns() : LINE_ROOM };
    struct store_reader *reader = NULL;
    struct why why = { "" };
    utc_t now = clock_now().utc, from = { now.ms - (int64_t)(job->past_s * (double)MS_PER_S) };
    if (store_reader_open(job->site->store.path, &reader, &why) != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    if (job->json)
        printf("{\"changes\":[\n");
    enum status st = store_reader_alert_changes(reader, from, (utc_t){ now.ms + 1 }, take, &l);
    if (job->json)
        printf("]}\n");
    else if (l.count == 0 && st == STATUS_OK)
        printf("Nothing was announced in that time.\n");
    store_reader_close(reader);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "the store %s cannot be read", job->site->store.path);
    return 0;
}
