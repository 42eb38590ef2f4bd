/* lentic probes: the health of every probe, from the service's retained document. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "model/reading.h"
#include "show/table.h"
#include "wire/json.h"

#define WAIT_MS  2000
#define COLUMNS  11
#define CELL_MAX 96

struct probe_table {
    char (*cells)[CELL_MAX];
    int rows, cap;
    bool doubtful; /* a probe is silent, or refused something */
};

struct probe_document {
    char *text; /* NULL: not yet */
};

static void hear(void *context, const struct message *m)
{
    struct probe_document *d = context;
    free(d->text);
    d->text = m->payload_len > 0 ? strndup(m->payload, m->payload_len) : NULL;
}

static double number_at(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

static const char *text_at(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_TEXT ? item.text : "";
}

static void put_number(char *cell, double v, int decimals, const char *unit)
{
    char number[64];
    if (isnan(v))
        (void)snprintf(cell, CELL_MAX, "-");
    else if (number_format(number, sizeof number, v, decimals) > 0)
        (void)snprintf(cell, CELL_MAX, "%s%s%s", number, unit[0] != '\0' ? " " : "", unit);
}

static void put_span(char *cell, double seconds)
{
    if (isnan(seconds))
        (void)snprintf(cell, CELL_MAX, "-");
    else
        (void)span_format((int64_t)(seconds * 1000), cell, CELL_MAX);
}

static const char *flag_word(const struct json_doc *doc)
{
    double flag = number_at(doc, "/flag");
    if (isnan(flag))
        return "never came";
    if (number_at(doc, "/stale") > 0)
        return "silent";
    switch ((int)flag) {
    case FLAG_GOOD:
        return "good";
    case FLAG_SUSPECT:
        return "suspect";
    case FLAG_FAIL:
        return "fail";
    case FLAG_MISSING:
        return "missing";
    default:
        return "not judged";
    }
}

static void put_calibration(const struct json_doc *doc, const char *now, char *age, char *slope)
{
    const char *since = text_at(doc, "/calibrated");
    double percent = number_at(doc, "/slope_percent");
    utc_t then, t;
    bool zoned;
    if (since[0] != '\0' && utc_parse(since, strlen(since), &then, &zoned) == STATUS_OK &&
        utc_parse(now, strlen(now), &t, &zoned) == STATUS_OK)
        (void)span_format(t.ms - then.ms, age, CELL_MAX);
    else
        (void)snprintf(age, CELL_MAX, "-");
    if (!isnan(percent))
        put_number(slope, percent, 1, "%");
    else
        (void)snprintf(slope, CELL_MAX, "-");
}

static void add_row(struct probe_table *t, const struct json_doc *doc, const char *now)
{
    char(*c)[CELL_MAX] = &t->cells[t->rows++ * COLUMNS];
    const char *quantity = text_at(doc, "/quantity"), *word = flag_word(doc);
    enum quantity q = quantity_find(quantity, strlen(quantity));
    double rejected = number_at(doc, "/rejected");
    (void)snprintf(c[0], CELL_MAX, "%s", text_at(doc, "/place"));
    (void)snprintf(c[1], CELL_MAX, "%s", quantity);
    put_number(c[2], number_at(doc, "/value"), q < Q_COUNT ? quantity_info(q)->decimals : 2,
               text_at(doc, "/unit"));
    put_span(c[3], number_at(doc, "/age_s"));
    (void)snprintf(c[4], CELL_MAX, "%s", word);
    put_span(c[5], number_at(doc, "/every_s"));
    put_number(c[6], 100 * number_at(doc, "/good_share"), 1, "%");
    put_calibration(doc, now, c[7], c[8]);
    put_number(c[9], rejected, 0, "");
    if (rejected > 0)
        (void)snprintf(c[10], CELL_MAX, "%.45s: \"%.40s\"", text_at(doc, "/last_reason"),
                       text_at(doc, "/last_sample"));
    t->doubtful = t->doubtful || strcmp(word, "silent") == 0 || strcmp(word, "never came") == 0;
}

/* The document has a probe a line; as a whole it may be longer than what the reader of documents takes. */
static void read_rows(struct probe_table *t, char *text)
{
    char *rest = NULL, now[UTC_TEXT_MAX] = "";
    const char *stamp = strstr(text, "\"t\":\"");
    if (stamp != NULL)
        (void)snprintf(now, sizeof now, "%.24s", stamp + 5);
    for (char *line = strtok_r(text, "\n", &rest); line != NULL && t->rows < t->cap;
         line = strtok_r(NULL, "\n", &rest)) {
        struct json_doc doc;
        size_t n = strlen(line);
        if (n > 0 && line[n - 1] == ',')
            n--;
        if (strncmp(line, "{\"probe\"", 8) != 0 || json_doc_parse(line, n, &doc, NULL) != STATUS_OK)
            continue;
        add_row(t, &doc, now);
        json_doc_fini(&doc);
    }
}

static int print_table(const struct options *o, char *text)
{
    static const char *const titles[COLUMNS] = { "place", "of",       "value",    "age",
                                                 "state", "every",    "good 24h", "calibrated",
                                                 "slope", "rejected", "the last" };
    static const bool right[COLUMNS] = {
        false, false, true, true, false, true, true, true, true, true, false
    };
    struct probe_table t = { .cap = 1 };
    for (const char *at = text; (at = strchr(at, '\n')) != NULL; at++)
        t.cap++;
    t.cells = calloc((size_t)t.cap * COLUMNS, sizeof *t.cells);
    const char **cells = calloc((size_t)t.cap * COLUMNS, sizeof *cells);
    size_t room = 4096 + (size_t)t.cap * 4 * COLUMNS * CELL_MAX;
    char *buf = malloc(room);
    int code = 0;
    if (t.cells == NULL || cells == NULL || buf == NULL) {
        code = options_fail(o, 3, "no memory");
    } else {
        read_rows(&t, text);
        for (int i = 0; i < t.rows * COLUMNS; i++)
            cells[i] = t.cells[i];
        struct text out = text_over(buf, room);
        table_put(&out, &(struct table){ COLUMNS, titles, right, cells, t.rows });
        (void)fputs(buf, stdout);
        code = t.doubtful ? 1 : 0;
    }
    free(buf);
    free(cells);
    free(t.cells);
    return code;
}

static int run(const struct options *o, const struct site *site, bool json)
{
    struct probe_document document = { NULL };
    struct talk talk;
    char filter[400];
    const char *const filters[] = { filter };
    (void)snprintf(filter, sizeof filter, "%s/probes", site->publish.base);
    int code = talk_open(&talk, o, site, filters, 1, hear, &document);
    for (int waited = 0; code == OPTIONS_GO_ON && waited < WAIT_MS; waited += 50) {
        pthread_mutex_lock(&talk.lock);
        bool here = document.text != NULL;
        pthread_mutex_unlock(&talk.lock);
        if (here || !talk_pass(&talk, 50))
            break;
    }
    talk_close(&talk);
    if (code == OPTIONS_GO_ON && document.text == NULL)
        code = options_fail(o, 3, "the broker has no report of the probes: is the service running?");
    else if (code == OPTIONS_GO_ON && json)
        code = puts(document.text) < 0 ? 3 : 0;
    else if (code == OPTIONS_GO_ON)
        code = print_table(o, document.text);
    free(document.text);
    return code;
}

int probes_main(int argc, char **argv)
{
    const char *conf = SUMS_CONF;
    bool json = false;
    const struct option items[] = {
        { "json", NULL, "the service's document as it is", OPTION_FLAG, &json, 0, 0 },
        { "conf", "FILE", "configuration that names broker and base topic", OPTION_TEXT, &conf, 0, 0 },
    };
    const struct options options = {
        .verb = "probes",
        .about = "The health of every probe: last value, age and state, cadence, share of good readings in a "
                 "day,\n"
                 "age and slope of the calibration, refused payloads with the last reason.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "The report is a minute old at the most.\n"
                "Exit codes: 0 every probe speaks, 1 one is silent or never came, 3 no broker or no service.",
    };
    struct site *site = NULL;
    int code = sums_read(&options, argc, argv, NULL);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&options, conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = run(&options, site, json);
    site_free(site);
    return code;
}
