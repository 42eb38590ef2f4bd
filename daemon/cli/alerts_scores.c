/* How the forecasts turned out, from the store. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/clock.h"
#include "adapters/store_query.h"
#include "base/text.h"
#include "cli/alerts.h"

#define USUAL_S   (90 * 86400.0)
#define MOST      2000
#define LINE_ROOM 1024

struct scores {
    bool json;
    int count, within, outside, overtaken, reached;
    double off_h[MOST]; /* of those that were reached */
};

/* The text says the verdict behind the alert: "tank/a1/heater-dead: within the spread; ...". */
static int *verdict_of(struct scores *s, const char *text)
{
    if (strstr(text, ": within") != NULL)
        return &s->within;
    return strstr(text, ": outside") != NULL ? &s->outside : &s->overtaken;
}

static void print_json(const struct scores *s, const struct event_row *row)
{
    char line[LINE_ROOM];
    struct text out = text_over(line, sizeof line);
    json_open(&out, '{');
    json_key(&out, "t");
    json_time(&out, row->t);
    json_key(&out, "place");
    json_string(&out, row->place);
    json_key(&out, "off_h");
    json_number(&out, row->value, 2);
    json_key(&out, "text");
    json_string(&out, row->text);
    json_close(&out, '}');
    printf("%s%s", s->count > 1 ? ",\n" : "", line);
}

static void take(void *context, const struct event_row *row)
{
    struct scores *s = context;
    char when[40];
    s->count++;
    (*verdict_of(s, row->text))++;
    if (!isnan(row->value) && s->reached < MOST)
        s->off_h[s->reached++] = fabs(row->value);
    if (s->json)
        print_json(s, row);
    else
        printf("%s  %s\n", alerts_clock(row->t, when, sizeof when), row->text);
}

static int by_size(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

static double median(struct scores *s)
{
    if (s->reached == 0)
        return NAN;
    qsort(s->off_h, (size_t)s->reached, sizeof *s->off_h, by_size);
    return (s->off_h[(s->reached - 1) / 2] + s->off_h[s->reached / 2]) / 2;
}

static void print_sum(struct scores *s, double days)
{
    char off[40];
    int judged = s->within + s->outside;
    if (s->count == 0) {
        printf("No forecast came to its end in the last %.0f days.\n", days);
        return;
    }
    printf(
        "\n%d forecasts in %.0f days: %d of %d came within their spread (four of five are meant to); %d were "
        "overtaken by somebody's work or the alert's end.\n",
        s->count, days, s->within, judged, s->overtaken);
    if (s->reached > 0)
        printf("Off by %s in the middle.\n",
               span_format((int64_t)(median(s) * (double)MS_PER_HOUR), off, sizeof off));
}

static void print_sum_json(struct scores *s)
{
    char line[LINE_ROOM];
    struct text out = text_over(line, sizeof line);
    text_put(&out, "],");
    const struct {
        const char *key;
        int value;
    } counts[] = { { "within", s->within }, { "outside", s->outside }, { "overtaken", s->overtaken } };
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++)
        text_printf(&out, "\"%s\":%d,", counts[i].key, counts[i].value);
    text_put(&out, "\"median_off_h\":");
    json_number(&out, median(s), 2);
    text_put(&out, "}\n");
    fputs(line, stdout);
}

int alerts_scores(const struct alerts_job *job)
{
    static struct scores s;
    struct store_reader *reader = NULL;
    struct why why = { "" };
    double span_s = job->past_s > 0 ? job->past_s : USUAL_S;
    utc_t now = clock_now().utc, from = { now.ms - (int64_t)(span_s * (double)MS_PER_S) };
    s = (struct scores){ .json = job->json };
    if (store_reader_open(job->site->store.path, &reader, &why) != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    if (s.json)
        printf("{\"scores\":[\n");
    enum status st = store_reader_events(reader, "forecast-scored", from, (utc_t){ now.ms + 1 }, take, &s);
    store_reader_close(reader);
    if (s.json)
        print_sum_json(&s);
    else
        print_sum(&s, span_s / 86400);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "the store %s cannot be read", job->site->store.path);
    return 0;
}
