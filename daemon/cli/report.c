/* lentic report: a stretch of time as one page of HTML, to read, to print, to keep. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/files.h"
#include "cli/reach.h"
#include "cli/reporting.h"
#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#define DAYS_USUAL 7
#define FILE_MODE  0644
#define OWN_MARK   "<meta name=\"generator\" content=\"lentic\">"
#define OWN_JSON   "{\"report\":"
#define OWN_WITHIN 256 /* bytes from the begin of a report */

struct asked {
    struct stretch_asked stretch;
    const char *out, *store, *broker;
    bool json;
};

/* --- the page --- */

static bool put_part(FILE *f, const struct text *part)
{
    return !part->cut && fwrite(part->buf, 1, part->len, f) == part->len;
}

static bool put_parts(const struct report_page *page, char *buf, FILE *f)
{
    bool ok = true;
    for (int i = -1; ok && i <= page->place_count; i++) {
        struct text part = text_over(buf, REPORT_PART_MAX);
        if (i < 0)
            report_page_head(page, &part);
        else if (i < page->place_count)
            report_page_sheet(page, i, &part);
        else
            report_page_foot(page, &part);
        ok = put_part(f, &part);
    }
    return ok;
}

static bool put_json(const struct report_page *page, char *buf, FILE *f)
{
    struct text t = text_over(buf, REPORT_PART_MAX);
    reporting_put_json(page, &t);
    return put_part(f, &t);
}

/* The whole in memory, so that a half one never stands anywhere. False without memory. */
static bool build(const struct reporting *r, char **bytes, size_t *n)
{
    char *buf = malloc(REPORT_PART_MAX);
    FILE *f = open_memstream(bytes, n);
    bool ok = buf != NULL && f != NULL;
    if (ok)
        ok = r->json ? put_json(&r->page, buf, f) : put_parts(&r->page, buf, f);
    if (f != NULL)
        ok = fclose(f) == 0 && ok;
    free(buf);
    return ok;
}

/* --- where to --- */

static bool is_report(const char *path)
{
    char begin[OWN_WITHIN + 1] = { 0 };
    FILE *f = fopen(path, "r");
    size_t n = f != NULL ? fread(begin, 1, OWN_WITHIN, f) : 0;
    if (f != NULL)
        (void)fclose(f);
    return n > 0 && (strstr(begin, OWN_MARK) != NULL || strncmp(begin, OWN_JSON, strlen(OWN_JSON)) == 0);
}

static bool write_through(const char *path, const char *html, size_t n)
{
    FILE *f = fopen(path, "w");
    bool ok = f != NULL && fwrite(html, 1, n, f) == n;
    if (f != NULL)
        ok = fclose(f) == 0 && ok;
    return ok;
}

/* A report takes the place of an older one, and of nothing else; pipes and devices are written through. */
static int write_file(const struct options *o, const char *path, const char *html, size_t n)
{
    struct stat st;
    struct why why = { "" };
    char *real = realpath(path, NULL);
    const char *to = real != NULL ? real : path;
    bool there = stat(to, &st) == 0;
    int code = OPTIONS_GO_ON;
    if (there && S_ISREG(st.st_mode) && st.st_size > 0 && !is_report(to))
        code = options_fail(o, 2, "%s is there already and is no report: name another file", path);
    else if (there && !S_ISREG(st.st_mode) && !write_through(to, html, n))
        code = options_fail(o, 3, "%s cannot be written", path);
    else if ((!there || S_ISREG(st.st_mode)) && files_write(to, html, n, FILE_MODE, &why) != STATUS_OK)
        code = options_fail(o, 3, "%s", why.text);
    free(real);
    return code;
}

static int write_page(const struct reporting *r, const char *path)
{
    char *html = NULL;
    size_t n = 0;
    int code = OPTIONS_GO_ON;
    if (!build(r, &html, &n))
        code = options_fail(r->options, 3, "no memory for the page");
    else if (path != NULL)
        code = write_file(r->options, path, html, n);
    else if (fwrite(html, 1, n, stdout) != n || fflush(stdout) != 0)
        code = options_fail(r->options, 3, "the output cannot be written: is the disk full?");
    free(html);
    if (code != OPTIONS_GO_ON)
        return code;
    if (path != NULL)
        printf("%s: %d places, %zu KiB\n", path, r->page.place_count, (n + 1023) / 1024);
    return 0;
}

/* --- the verb --- */

static void name_zone(struct reporting *r)
{
    time_t s = (time_t)(r->to.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(r->zone, sizeof r->zone, "%Z", &tm) == 0)
        snprintf(r->zone, sizeof r->zone, "local");
}

static int answer(struct reporting *r, const char *const *words, int count, const char *path)
{
    int code = reporting_places(r, words, count);
    if (code == OPTIONS_GO_ON)
        code = reporting_store(r);
    if (code != OPTIONS_GO_ON)
        return code;
    reporting_service(r);
    name_zone(r);
    r->page.site = r->site;
    r->page.version = LENTIC_VERSION;
    r->page.from = r->from;
    r->page.to = r->to;
    r->page.made = r->now;
    r->page.zone = r->zone;
    r->page.sources = r->sources;
    r->page.clock = alerts_clock;
    r->page.ticks = r->ticks;
    r->page.tick_count = reporting_ticks(r->from, r->to, r->ticks);
    return write_page(r, path);
}

/* A page of markup helps nobody on a terminal. */
static int check_output(const struct options *o, const struct asked *asked)
{
    if (asked->out == NULL && !asked->json && isatty(STDOUT_FILENO) == 1)
        return options_fail(o, 2, "the page wants a file: lentic report -o week.html");
    return OPTIONS_GO_ON;
}

static int read_span(struct reporting *r, struct asked *asked)
{
    if (asked->stretch.days == 0 && asked->stretch.hours == 0 && asked->stretch.from == NULL)
        asked->stretch.days = DAYS_USUAL;
    int code = stretch_read(r->options, &asked->stretch, &r->from, &r->to);
    r->now = clock_now().utc;
    r->live = asked->store == NULL && r->to.ms >= r->now.ms - REPORT_LIVE_MS;
    return code;
}

static int run(const struct options *o, struct asked *asked, const char *const *words, int count)
{
    static struct reporting r;
    char host[REACH_HOST_MAX];
    r = (struct reporting){ .options = o, .json = asked->json };
    int code = check_output(o, asked);
    if (code == OPTIONS_GO_ON)
        code = sums_site(o, asked->stretch.conf, &r.site);
    if (code != OPTIONS_GO_ON)
        return code;
    if (r.site->timezone != NULL)
        clock_set_timezone(r.site->timezone);
    r.store = asked->store != NULL ? asked->store : r.site->store.path;
    code = reach_parse(o, "--broker", asked->broker, &r.site->broker, host);
    if (code == OPTIONS_GO_ON)
        code = read_span(&r, asked);
    if (code == OPTIONS_GO_ON)
        code = answer(&r, words, count, asked->out);
    reporting_fini(&r);
    site_free(r.site);
    return code;
}

int report_main(int argc, char **argv)
{
    struct asked asked = { .stretch.conf = SUMS_CONF };
    const struct option items[] = {
        { "out", "FILE",
          "where to, also -o; an older report there is replaced.\nWithout it the standard output",
          OPTION_TEXT, &asked.out, 0, 0 },
        { "days", "N", "so many days; 7 if nothing else is said", OPTION_NUMBER, &asked.stretch.days, 0,
          36500 },
        { "hours", "N", "so many hours", OPTION_NUMBER, &asked.stretch.hours, 0, 876000 },
        { "from", "TIME", "begin", OPTION_TEXT, &asked.stretch.from, 0, 0 },
        { "to", "TIME", "end; default: now", OPTION_TEXT, &asked.stretch.to, 0, 0 },
        { "store", "FILE",
          "another store than the configuration's, such as a backup;\nthe service is not asked", OPTION_TEXT,
          &asked.store, 0, 0 },
        { "json", NULL, "the figures as one JSON object instead of the page; times in UTC", OPTION_FLAG,
          &asked.json, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &asked.stretch.conf, 0, 0 },
        { "broker", "HOST:PORT", "another broker than the configuration's", OPTION_TEXT, &asked.broker, 0,
          0 },
    };
    const struct options options = {
        .verb = "report",
        .operands = "[PLACE]...",
        .about =
            "A stretch of time as one page of HTML to read, print and keep: the room at a glance, the "
            "alerts\n"
            "that stand, and a sheet for each tank with curves, figures, alerts, hand tests, journal and\n"
            "calibrations. The page needs no network, no scripts and no other file.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more =
            "  lentic report -o week.html\n  lentic report a1 b3 --days 30 -o two-tanks.html\n"
            "  lentic report --from 2026-03-01 --to 2026-04-01 -o march.html\n\n"
            "Times without a zone are local. Values of this moment come from the service when it answers.\n"
            "Exit codes: 0 done, 1 there is nothing for that span, 2 usage, 3 the store cannot be read or "
            "the\n"
            "page not be written.",
    };
    const char **operands = calloc((size_t)argc + 1, sizeof *operands);
    int count = 0;
    if (operands == NULL)
        return options_fail(&options, 3, "no memory");
    int code = options_read(&options, argc, argv, operands, &count);
    if (code == OPTIONS_GO_ON)
        code = run(&options, &asked, operands, count);
    free(operands);
    return code;
}
