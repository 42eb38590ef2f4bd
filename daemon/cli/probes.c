/* lentic probes: the health of every probe, from the service's retained document. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "cli/probes_exchange.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "model/reading.h"
#include "show/table.h"
#include "wire/json.h"

#define WAIT_MS  2000
#define COLUMNS  12
#define ALWAYS   7 /* columns that are shown whatever stands in them */
#define CELL_MAX 160

struct probe_table {
    char (*cells)[CELL_MAX];
    int rows, cap;
    bool doubtful; /* a probe is silent, or refused something */
};

struct probe_document {
    char *text;   /* NULL: not yet */
    char *status; /* of the service: its counters */
};

static void hear(void *context, const struct message *m)
{
    static const char ending[] = "/status";
    struct probe_document *d = context;
    bool status = m->topic_len > sizeof ending - 1 &&
                  memcmp(m->topic + m->topic_len - (sizeof ending - 1), ending, sizeof ending - 1) == 0;
    char **into = status ? &d->status : &d->text;
    free(*into);
    *into = m->payload_len > 0 ? strndup(m->payload, m->payload_len) : NULL;
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
    double month = number_at(doc, "/slope_month");
    if (!isnan(percent) && month <= -0.2)
        (void)snprintf(slope, CELL_MAX, "%.1f %%, %+.1f a month", percent, month);
    else if (!isnan(percent))
        put_number(slope, percent, 1, "%");
    else
        (void)snprintf(slope, CELL_MAX, "-");
}

/* What deserves a look besides the numbers, in a few words. */
static void put_remarks(const struct json_doc *doc, char *cell)
{
    struct text out = text_over(cell, CELL_MAX);
    double battery = number_at(doc, "/battery"), link = number_at(doc, "/link");
    double absent = number_at(doc, "/nothing_asked_for");
    if (number_at(doc, "/rejected") > 0 || absent > 0)
        text_printf(&out, "%.45s: \"%.40s\"  ", text_at(doc, "/last_reason"), text_at(doc, "/last_sample"));
    if (number_at(doc, "/uncalibrated") > 0)
        text_printf(&out, "new since %.16sZ, not calibrated  ", text_at(doc, "/device_since"));
    if (!isnan(battery))
        text_printf(&out, "battery %.4g %s%s  ", battery, text_at(doc, "/battery_unit"),
                    number_at(doc, "/battery_low") > 0 ? ", LOW" : "");
    if (!isnan(link))
        text_printf(&out, "link %.4g %s  ", link, text_at(doc, "/link_unit"));
    while (out.len > 0 && cell[out.len - 1] == ' ')
        cell[--out.len] = '\0';
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
    (void)snprintf(c[10], CELL_MAX, "%s", text_at(doc, "/device"));
    put_remarks(doc, c[11]);
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

/* A column in which nothing stands but "-" and 0 only takes room. */
static bool is_column(const struct probe_table *t, int column)
{
    for (int i = 0; i < t->rows; i++) {
        const char *cell = t->cells[i * COLUMNS + column];
        if (cell[0] != '\0' && strcmp(cell, "-") != 0 && strcmp(cell, "0") != 0)
            return true;
    }
    return column < ALWAYS;
}

static void put_table(const struct probe_table *t, const char **cells, struct text *out)
{
    static const char *const titles[COLUMNS] = { "place", "of",       "value",    "age",
                                                 "state", "every",    "good 24h", "calibrated",
                                                 "slope", "rejected", "device",   "remarks" };
    static const bool right[COLUMNS] = { false, false, true, true, false, true,
                                         true,  true,  true, true, false, false };
    const char *shown_titles[COLUMNS];
    bool shown_right[COLUMNS];
    int columns[COLUMNS], count = 0;
    for (int c = 0; c < COLUMNS; c++)
        if (is_column(t, c)) {
            shown_titles[count] = titles[c];
            shown_right[count] = right[c];
            columns[count++] = c;
        }
    for (int i = 0; i < t->rows; i++)
        for (int c = 0; c < count; c++)
            cells[i * count + c] = t->cells[i * COLUMNS + columns[c]];
    table_put(out, &(struct table){ count, shown_titles, shown_right, cells, t->rows });
}

static int print_table(const struct options *o, char *text)
{
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
        struct text out = text_over(buf, room);
        put_table(&t, cells, &out);
        (void)fputs(buf, stdout);
        code = t.doubtful ? 1 : 0;
    }
    free(buf);
    free(cells);
    free(t.cells);
    return code;
}

/* What came of all that was sent, as far as any of it did not become a plain reading. */
static void print_counters(const char *status)
{
    static const struct {
        const char *key, *words;
    } counters[] = {
        { "missing", "said they had no reading" },
        { "unreadable", "unreadable" },
        { "wrong_unit", "in another unit" },
        { "nothing_asked_for", "documents without what is asked for" },
        { "values_left_out", "values too many in a message" },
        { "too_long", "messages too long" },
        { "duplicates", "sent twice" },
        { "conflicts", "contradicting an earlier one of the same time" },
        { "late", "late" },
        { "retained_ignored", "only repeated by the broker" },
        { "times_not_believed", "with a time that was not believed" },
        { "kept_from_limits", "impossible or spikes, kept from limits" },
        { "thinned_without_clock", "thinned while there was no clock" },
        { "given_way", "readings lost because the store failed" },
    };
    struct json_doc doc;
    char pointer[64];
    int told = 0;
    if (status == NULL || json_doc_parse(status, strlen(status), &doc, NULL) != STATUS_OK)
        return;
    for (size_t i = 0; i < sizeof counters / sizeof *counters; i++) {
        (void)snprintf(pointer, sizeof pointer, "/counters/%s", counters[i].key);
        double n = number_at(&doc, pointer);
        if (n > 0)
            printf("%s%.0f %s", told++ == 0 ? "\nSince the beginning: " : ", ", n, counters[i].words);
    }
    printf("%s", told > 0 ? ".\n" : "");
    json_doc_fini(&doc);
}

static int run(const struct options *o, const struct site *site, bool json)
{
    struct probe_document document = { NULL, NULL };
    struct talk talk;
    char filter[400], status[400];
    const char *const filters[] = { status, filter };
    (void)snprintf(filter, sizeof filter, "%s/probes", site->publish.base);
    (void)snprintf(status, sizeof status, "%s/status", site->publish.base);
    int code = talk_open(&talk, o, site, filters, 2, hear, &document);
    for (int waited = 0; code == OPTIONS_GO_ON && waited < WAIT_MS; waited += 50) {
        pthread_mutex_lock(&talk.lock);
        bool here = document.text != NULL && document.status != NULL;
        pthread_mutex_unlock(&talk.lock);
        if (here || !talk_pass(&talk, 50))
            break;
    }
    talk_close(&talk);
    if (code == OPTIONS_GO_ON && document.text == NULL)
        code = options_fail(o, 3, "the broker has no report of the probes: is the service running?");
    else if (code == OPTIONS_GO_ON && json)
        code = puts(document.text) < 0 ? 3 : 0;
    else if (code == OPTIONS_GO_ON) {
        code = print_table(o, document.text);
        print_counters(document.status);
    }
    free(document.status);
    free(document.text);
    return code;
}

int probes_main(int argc, char **argv)
{
    const char *conf = SUMS_CONF;
    bool json = false;
    struct exchange_wish wish = { .who = getenv("USER") };
    const struct option items[] = {
        { "exchange", "PROBE",
          "another device stands there now: place and quantity, tank/a1/ph, or the topic", OPTION_TEXT,
          &wish.probe, 0, 0 },
        { "device", "ID", "with --exchange: what the new device is called", OPTION_TEXT, &wish.device, 0, 0 },
        { "since", "TIME", "with --exchange: since when, with zone: 2026-03-01T12:00:00Z; default now",
          OPTION_TEXT, &wish.since, 0, 0 },
        { "who", "NAME", "with --exchange: who did it; default the user's name", OPTION_TEXT, &wish.who, 0,
          0 },
        { "why", "TEXT", "with --exchange: a note for the journal", OPTION_TEXT, &wish.why, 0, 0 },
        { "json", NULL, "the service's document as it is", OPTION_FLAG, &json, 0, 0 },
        { "conf", "FILE", "configuration that names broker and base topic", OPTION_TEXT, &conf, 0, 0 },
    };
    const struct options options = {
        .verb = "probes",
        .about = "The health of every probe: last value, age and state, cadence, share of good readings in a "
                 "day,\n"
                 "age and slope of the calibration, refused payloads with the last reason, device, battery "
                 "and link.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more =
            "The report is a minute old at the most.\n"
            "Of an exchanged probe the history goes on; the new device's own calibration counts from then "
            "on.\n"
            "When the payload names its device (device_at), an exchange is noticed by itself.\n"
            "Exit codes: 0 every probe speaks, 1 one is silent or never came, 3 no broker or no service.",
    };
    struct site *site = NULL;
    int code = sums_read(&options, argc, argv, NULL);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&options, conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = wish.probe != NULL ? probes_exchange(&options, site, &wish) : run(&options, site, json);
    site_free(site);
    return code;
}
