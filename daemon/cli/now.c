#include "cli/now.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"
#include "cli/reach.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#define WAKE_MS     50
#define GLANCE_MS   1    /* between looks while what the broker keeps comes in */
#define RETAINED_MS 1500 /* after the connection: time for that */
#define QUIET_MS    150  /* all came, and nothing more for so long, where the fence is not kept */
#define PATIENCE_MS 5000 /* for the connection */
#define REDRAW_MS   5000 /* ages move on without a message */
#define BOARD_ROOM  (4u << 20)

static volatile sig_atomic_t interrupted;

static void on_signal(int number)
{
    (void)number;
    interrupted = 1;
}

struct watch {
    const struct options *options;
    struct hearing hearing;
    struct mqtt *mqtt;
    bool live, json, coloured;
    double seconds; /* 0: no limit */
    char *buf;
};

static void nap(int ms)
{
    const struct timespec t = { .tv_nsec = ms * 1000000L };
    (void)nanosleep(&t, NULL);
}

static struct winsize terminal(void)
{
    struct winsize size = { .ws_col = 80, .ws_row = 0 };
    struct winsize found;
    const char *columns = getenv("COLUMNS");
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &found) == 0 && found.ws_col > 0)
        return found;
    int n = columns != NULL ? atoi(columns) : 0;
    if (n >= 40 && n <= 1000)
        size.ws_col = (unsigned short)n;
    return size;
}

static const char *clock_text(utc_t t, char *buf, size_t cap)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(buf, cap, "%a %Y-%m-%d %H:%M:%S %Z", &tm) == 0)
        buf[0] = 0;
    return buf;
}

/* A live board must not scroll: what is below the last row of the terminal is left out, and said so. */
static void cut_rows(char *s, int rows)
{
    char *at = s;
    for (int row = 1; rows > 2 && (at = strchr(at, '\n')) != NULL; row++) {
        at++;
        if (row == rows - 2 && strchr(at, '\n') != NULL) {
            snprintf(at, strlen(at) + 1, "...\n");
            return;
        }
    }
}

static void draw(struct watch *w)
{
    char clock[64];
    struct now now = clock_now();
    struct winsize size = terminal();
    struct text out = text_over(w->buf, BOARD_ROOM);
    if (w->json) {
        hearing_put_json(&w->hearing, now.utc, &out);
    } else {
        hearing_put(&w->hearing, clock_text(now.utc, clock, sizeof clock), now.utc,
                    (struct board_look){ size.ws_col, w->coloured }, &out);
        if (w->live && isatty(STDOUT_FILENO)) {
            cut_rows(w->buf, size.ws_row);
            fputs("\033[H\033[2J", stdout);
        }
    }
    fputs(w->buf, stdout);
    (void)fflush(stdout);
}

static int connect_or_tell(struct watch *w, const struct broker_settings *broker)
{
    mono_t begin = clock_now().mono;
    while (!interrupted && mqtt_state(w->mqtt).link != MQTT_UP) {
        struct now now = clock_now();
        if (now.mono.ms - begin.ms > PATIENCE_MS)
            return options_fail(w->options, 3, "no connection to the broker at %s:%d: %s", broker->host,
                                broker->port, mqtt_state(w->mqtt).reason);
        mqtt_advance(w->mqtt, now);
        nap(GLANCE_MS);
    }
    return OPTIONS_GO_ON;
}

static unsigned long changes_of(struct hearing *h)
{
    pthread_mutex_lock(&h->lock);
    unsigned long changes = h->changes;
    pthread_mutex_unlock(&h->lock);
    return changes;
}

/* Until all that the broker keeps has come, as far as can be known. */
static void gather(struct watch *w)
{
    mono_t begin = clock_now().mono, last = begin;
    unsigned long seen = 0;
    while (!interrupted) {
        struct now now = clock_now();
        unsigned long changes = changes_of(&w->hearing);
        if (changes != seen)
            last = now.mono;
        seen = changes;
        bool fenced = hearing_is_fenced(&w->hearing) && mqtt_state(w->mqtt).connects == 1;
        bool all = fenced || now.mono.ms - last.ms > QUIET_MS;
        if (now.mono.ms - begin.ms > RETAINED_MS || (all && hearing_is_whole(&w->hearing)))
            return;
        mqtt_advance(w->mqtt, now);
        nap(GLANCE_MS);
    }
}

static void follow(struct watch *w)
{
    mono_t begin = clock_now().mono, drawn = begin;
    unsigned long seen = changes_of(&w->hearing);
    while (!interrupted) {
        struct now now = clock_now();
        unsigned long changes = changes_of(&w->hearing);
        if (w->seconds > 0 && (double)(now.mono.ms - begin.ms) >= w->seconds * (double)MS_PER_S)
            return;
        /* Not more than four times a second: a busy room must stay readable. */
        if ((changes != seen && now.mono.ms - drawn.ms >= 250) || now.mono.ms - drawn.ms >= REDRAW_MS) {
            seen = changes;
            drawn = now.mono;
            draw(w);
        }
        mqtt_advance(w->mqtt, now);
        nap(WAKE_MS);
    }
}

static int run(struct watch *w, const struct site *site, const struct broker_settings *broker)
{
    char status[300], tanks[300], sources[300], alerts[300], fence[300];
    struct why why;
    /* What is kept comes subscription by subscription: the status a second time, and all was sent. */
    const char *const filters[] = { status, tanks, sources, alerts, fence };
    const int qos[] = { 1, 1, 1, 1, 1 };
    snprintf(status, sizeof status, "%s/status", site->publish.base);
    snprintf(tanks, sizeof tanks, "%s/tank/+", site->publish.base);
    snprintf(sources, sizeof sources, "%s/source/+", site->publish.base);
    snprintf(alerts, sizeof alerts, "%s/alert/#", site->publish.base);
    snprintf(fence, sizeof fence, "%s/status/#", site->publish.base); /* the status alone, by another name */
    const struct mqtt_options options = { .broker = broker,
                                          .filters = filters,
                                          .filter_qos = qos,
                                          .filter_count = sizeof filters / sizeof *filters,
                                          .clean_start = true,
                                          .on_message = hearing_take,
                                          .context = &w->hearing,
                                          .event_fd = -1 };
    if (mqtt_open(&options, &w->mqtt, &why) != STATUS_OK)
        return options_fail(w->options, 2, "%s", why.text);
    int code = connect_or_tell(w, broker);
    if (code == OPTIONS_GO_ON) {
        gather(w);
        draw(w);
        if (w->live)
            follow(w);
        code = hearing_verdict(&w->hearing);
        /* The library takes a tenth of a second to let go of a connection that nobody misses. */
        if (!w->live)
            _exit(fflush(stdout) == 0 ? code : 3);
    }
    mqtt_close(w->mqtt, 500);
    return code;
}

static int watch_site(struct watch *w, const struct site *site, const char *broker_text)
{
    struct broker_settings broker = site->broker;
    char id[48], host[REACH_HOST_MAX];
    int code = reach_parse(w->options, "--broker", broker_text, &broker, host);
    if (code != OPTIONS_GO_ON)
        return code;
    /* The daemon's own id would throw the daemon out. */
    snprintf(id, sizeof id, "lentic-now-%ld", (long)getpid());
    broker.client_id = id;
    if (site->timezone != NULL) {
        setenv("TZ", site->timezone, 1);
        tzset();
    }
    w->buf = malloc(BOARD_ROOM);
    if (w->buf == NULL || hearing_init(&w->hearing, site) != 0)
        return options_fail(w->options, 3, "no memory");
    code = run(w, site, &broker);
    hearing_fini(&w->hearing);
    free(w->buf);
    return code;
}

int now_main(int argc, char **argv)
{
    struct watch w = { .live = false };
    const char *conf = SUMS_CONF, *broker = NULL;
    bool once = false;
    const struct option items[] = {
        { "live", NULL, "go on and redraw until Ctrl-C; default on a terminal", OPTION_FLAG, &w.live, 0, 0 },
        { "once", NULL, "print once and end; default otherwise", OPTION_FLAG, &once, 0, 0 },
        { "seconds", "N", "end a live board after so long", OPTION_NUMBER, &w.seconds, 0, 1e9 },
        { "json", NULL, "the documents of the service in one JSON object", OPTION_FLAG, &w.json, 0, 0 },
        { "conf", "FILE", "configuration that names broker and tanks", OPTION_TEXT, &conf, 0, 0 },
        { "broker", "HOST:PORT", "another broker than the configuration's", OPTION_TEXT, &broker, 0, 0 },
    };
    const struct options options = {
        .verb = "now",
        .about = "The board of all tanks: values with their trend and age, the source water, and what is "
                 "wrong, why, "
                 "and what to do.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more =
            "Arrows: → steady, ↗ ↘ moving, ↑ ↓ moving fast. (24.3) is an old value, ~24.3 a doubtful one.\n"
            "Exit codes: 0 all well, 1 an alert is active, 3 broker or service cannot be reached.\n"
            "NO_COLOR in the environment switches colours off.",
    };
    const struct sigaction action = { .sa_handler = on_signal };
    struct site *site = NULL;
    int code = sums_read(&options, argc, argv, NULL);
    w.options = &options;
    if (code == OPTIONS_GO_ON)
        code = sums_site(&options, conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    bool terminal_out = isatty(STDOUT_FILENO) == 1;
    const char *no_colour = getenv("NO_COLOR");
    w.live = !once && !w.json && (w.live || terminal_out || w.seconds > 0);
    w.coloured = terminal_out && (no_colour == NULL || no_colour[0] == 0);
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    code = watch_site(&w, site, broker);
    site_free(site);
    return code;
}
