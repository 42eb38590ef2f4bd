/* lentic alerts: what stands and what to do; what was; a test message. */
#include "cli/alerts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "cli/ask.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"

#define STEP_MS     50
#define RETAINED_MS 1500 /* time for what the broker keeps */
#define QUIET_MS    300  /* all came, and nothing more for so long */
#define OUT_ROOM    (1u << 20)
#define PAST_MOST_S (3660 * 86400.0)

const char *alerts_clock(utc_t t, char *buf, size_t cap)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(buf, cap, "%a %Y-%m-%d %H:%M", &tm) == 0)
        buf[0] = '\0';
    return buf;
}

/* --- what stands --- */

static void gather(struct talk *talk, struct alerts_heard *h)
{
    unsigned long seen = 0;
    int quiet = 0;
    for (int waited = 0; waited < RETAINED_MS && talk_pass(talk, STEP_MS); waited += STEP_MS) {
        pthread_mutex_lock(&talk->lock);
        quiet = h->changes == seen ? quiet + STEP_MS : 0;
        seen = h->changes;
        bool whole = h->status_heard && quiet >= QUIET_MS;
        pthread_mutex_unlock(&talk->lock);
        if (whole)
            return;
    }
}

static int hear(const struct alerts_job *job, struct alerts_heard *h)
{
    char status[300], alerts[300];
    const char *const filters[] = { status, alerts };
    struct talk talk;
    snprintf(status, sizeof status, "%s/status", job->site->publish.base);
    snprintf(alerts, sizeof alerts, "%s/alert/#", job->site->publish.base);
    int code = talk_open(&talk, job->options, job->site, filters, 2, alerts_heard_take, h);
    if (code == OPTIONS_GO_ON)
        gather(&talk, h);
    talk_close(&talk);
    return code;
}

int alerts_columns(void)
{
    struct winsize size;
    const char *columns = getenv("COLUMNS");
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    int wide = columns != NULL ? atoi(columns) : 0;
    return wide >= 40 && wide <= 1000 ? wide : 80;
}

static struct notices_look look(void)
{
    const char *no_colour = getenv("NO_COLOR");
    struct notices_look l = { .columns = alerts_columns(),
                              .coloured =
                                  isatty(STDOUT_FILENO) == 1 && (no_colour == NULL || no_colour[0] == '\0'),
                              .now = clock_now().utc,
                              .clock = alerts_clock };
    return l;
}

static bool is_shown(const struct alerts_job *job, const struct notice *n)
{
    return job->all || !notice_is_aside(n);
}

static void put_people(const struct alerts_job *job, const struct alerts_heard *h, struct text *out)
{
    int hidden = 0, shown = 0;
    if (!h->online)
        text_put(out, h->status_heard ? "THE SERVICE IS NOT RUNNING: what stands here is old.\n\n"
                                      : "No word from the service: has it ever run with this broker?\n\n");
    for (int i = 0; i < h->count; i++) {
        if (!is_shown(job, &h->notices[i])) {
            hidden++;
            continue;
        }
        if (shown++ > 0)
            text_put(out, "\n");
        notice_put(out, &h->notices[i], look());
    }
    if (shown == 0)
        text_put(out, "No alerts stand.\n");
    if (hidden > 0)
        text_printf(out, "%s%d put aside or out of service: --all shows %s.\n", shown > 0 ? "\n" : "", hidden,
                    hidden == 1 ? "it" : "them");
    if (h->unreadable > 0)
        text_printf(out, "%lu documents could not be read: is the service of the same version?\n",
                    h->unreadable);
}

static void put_json(const struct alerts_job *job, const struct alerts_heard *h, struct text *out)
{
    json_open(out, '{');
    json_key(out, "t");
    json_time(out, clock_now().utc);
    json_key(out, "online");
    json_bool(out, h->online);
    json_key(out, "alerts");
    json_open(out, '[');
    for (int i = 0; i < h->count; i++)
        if (is_shown(job, &h->notices[i]) && h->documents[i] != NULL)
            json_word(out, h->documents[i]);
    json_close(out, ']');
    json_close(out, '}');
    text_put(out, "\n");
}

static int answer(const struct alerts_job *job, struct alerts_heard *h)
{
    char *buf = malloc(OUT_ROOM);
    bool active = false;
    if (buf == NULL)
        return options_fail(job->options, 3, "no memory");
    struct text out = text_over(buf, OUT_ROOM);
    alerts_heard_sort(h);
    for (int i = 0; i < h->count; i++)
        active = active || notice_is_active(&h->notices[i]);
    if (job->json)
        put_json(job, h, &out);
    else
        put_people(job, h, &out);
    fputs(buf, stdout);
    free(buf);
    return !h->online ? 3 : active ? 1 : 0;
}

int alerts_now(const struct alerts_job *job)
{
    struct alerts_heard h;
    int code = 3;
    if (alerts_heard_init(&h, job->site) != 0)
        code = options_fail(job->options, 3, "no memory");
    else
        code = hear(job, &h);
    if (code == OPTIONS_GO_ON)
        code = answer(job, &h);
    alerts_heard_fini(&h);
    return code;
}

/* --- the verb --- */

struct asked {
    const char *conf, *explain;
    bool test, scores;
};

static int run(struct alerts_job *job, const struct asked *asked)
{
    struct site *site = NULL;
    int code = sums_site(job->options, asked->conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    job->site = site;
    if (site->timezone != NULL)
        clock_set_timezone(site->timezone);
    if (asked->test)
        code = alerts_test(job);
    else if (asked->scores)
        code = alerts_scores(job);
    else
        code = job->past_s > 0 ? alerts_past(job) : alerts_now(job);
    site_free(site);
    return code;
}

int alerts_main(int argc, char **argv)
{
    struct alerts_job job = { .past_s = 0 };
    struct asked asked = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "all", NULL, "also what is put aside or out of service; with --past\nalso what was not announced",
          OPTION_FLAG, &job.all, 0, 0 },
        { "past", "SPAN", "what happened in the last 12h, 7d, ..., from the store", OPTION_SPAN, &job.past_s,
          1, PAST_MOST_S },
        { "test", NULL, "send a test message on every path and tell what became of it", OPTION_FLAG,
          &asked.test, 0, 0 },
        { "scores", NULL, "how the forecasts turned out; with --past SPAN, else of 90 days", OPTION_FLAG,
          &asked.scores, 0, 0 },
        { "explain", "KIND", "what a kind of alert means and asks for; all: every kind", OPTION_TEXT,
          &asked.explain, 0, 0 },
        { "why", "TEXT", "with --test: further words", OPTION_TEXT, &job.why, 0, 0 },
        { "who", "NAME", "with --test: who asks; default: the login name", OPTION_TEXT, &job.who, 0, 0 },
        { "json", NULL, "the documents of the service in one JSON object", OPTION_FLAG, &job.json, 0, 0 },
        { "conf", "FILE", "configuration that names broker and store", OPTION_TEXT, &asked.conf, 0, 0 },
    };
    const struct options options = {
        .verb = "alerts",
        .about =
            "The alerts that stand, most urgent first: since when, why, how long there is and what to do.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic alerts\n  lentic alerts --past 7d\n  lentic alerts --test\n  lentic alerts "
                "--explain heater-weak\n\n"
                "lentic ack, shelve and service answer an alert; lentic now shows the tanks.\n"
                "Exit codes: 0 none is active, 1 one is (or the test failed), 2 usage, 3 broker, service or "
                "store not reached.",
    };
    job.options = &options;
    int code = sums_read(&options, argc, argv, NULL);
    if (code == OPTIONS_GO_ON && asked.test && (job.past_s > 0 || job.all))
        code = options_fail(&options, 2, "--test stands alone");
    if (code == OPTIONS_GO_ON && asked.explain != NULL)
        return alerts_explain(&job, asked.explain);
    return code == OPTIONS_GO_ON ? run(&job, &asked) : code;
}
