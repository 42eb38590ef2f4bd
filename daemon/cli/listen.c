/* lentic listen: hears a broker for a while and proposes probe entries. */
#include "cli/listen.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"
#include "cli/reach.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#define STEP_MS     20
#define PATIENCE_MS 5000

static volatile sig_atomic_t interrupted;

static void on_signal(int number)
{
    (void)number;
    interrupted = 1;
}

struct job {
    const struct options *options;
    const char *conf, *user, *password_file, *ca_file;
    struct option_list topics;
    double seconds;
    bool tls, json;
    struct broker_settings broker;
    char host[REACH_HOST_MAX];
    pthread_mutex_t lock;
    struct listen_heard heard;
};

static bool on_message(void *context, const struct message *m)
{
    struct job *job = context;
    pthread_mutex_lock(&job->lock);
    listen_take(&job->heard, m);
    pthread_mutex_unlock(&job->lock);
    return true;
}

/* False when a signal came. */
static bool pass(struct mqtt *mqtt)
{
    const struct timespec nap = { .tv_nsec = STEP_MS * 1000000L };
    mqtt_advance(mqtt, clock_now());
    (void)nanosleep(&nap, NULL);
    return !interrupted;
}

static int hear(struct job *job, struct mqtt *mqtt)
{
    mono_t begin = clock_now().mono;
    while (mqtt_state(mqtt).link != MQTT_UP)
        if (!pass(mqtt) || clock_now().mono.ms - begin.ms > PATIENCE_MS)
            return options_fail(job->options, 3, "no connection to the broker at %s:%d: %s", job->broker.host,
                                job->broker.port, mqtt_state(mqtt).reason);
    fprintf(stderr, "Listening to %s:%d for %.0f s; Ctrl-C ends it earlier.\n", job->broker.host,
            job->broker.port, job->seconds);
    begin = clock_now().mono;
    while (pass(mqtt) && (double)(clock_now().mono.ms - begin.ms) < job->seconds * 1000)
        ;
    return OPTIONS_GO_ON;
}

static int connect_and_hear(struct job *job)
{
    const struct sigaction action = { .sa_handler = on_signal };
    static const char *const everything[] = { "#" };
    int qos[OPTION_LIST_MAX] = { 0 };
    char id[48];
    struct why why = { "" };
    struct mqtt *mqtt = NULL;
    bool all = job->topics.count == 0;
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
    /* The service's own id would throw the service out. */
    snprintf(id, sizeof id, "lentic-listen-%ld", (long)getpid());
    job->broker.client_id = id;
    const struct mqtt_options options = { .broker = &job->broker,
                                          .filters = all ? everything : job->topics.items,
                                          .filter_qos = qos,
                                          .filter_count = all ? 1 : job->topics.count,
                                          .clean_start = true,
                                          .on_message = on_message,
                                          .context = job,
                                          .event_fd = -1 };
    if (mqtt_open(&options, &mqtt, &why) != STATUS_OK)
        return options_fail(job->options, 2, "%s", why.text);
    int code = hear(job, mqtt);
    mqtt_close(mqtt, 0);
    return code;
}

static int tell(struct job *job, const struct site *site)
{
    struct listen_heard *heard = &job->heard;
    listen_settle(heard);
    if (heard->beyond > 0)
        fprintf(stderr,
                "%ld values found no room (%d are kept) or have too long a name: narrow it with --topic.\n",
                heard->beyond, LISTEN_STREAMS_MAX);
    if (job->json) {
        listen_write_json(stdout, heard);
        return heard->count > 0 ? 0 : 1;
    }
    printf("# Heard %ld messages with %d values. Read the remarks, then paste this into the configuration;\n"
           "# `lentic check` tells what is still missing, such as tanks with these ids.\n",
           heard->messages, heard->count);
    int usable = listen_write(stdout, heard, site);
    if (usable == 0)
        return options_fail(
            job->options, 1, "%s",
            heard->messages == 0
                ? "nothing was heard: do probes publish to this broker, and may you read it?"
                : "nothing that was heard is surely of the water; listen longer, or see the remarks");
    return 0;
}

static int read_job(struct job *job, const char *host, struct site **site)
{
    if (job->conf == NULL && host == NULL)
        return options_fail(job->options, 2,
                            "name the broker: lentic listen HOST, or --conf FILE that names it");
    job->broker = (struct broker_settings){ .tls_verify = true, .mqtt_version = 5, .keepalive_s = 30 };
    if (job->conf != NULL) {
        int code = sums_site(job->options, job->conf, site);
        if (code != OPTIONS_GO_ON)
            return code;
        job->broker = (*site)->broker;
    }
    if (job->user != NULL)
        job->broker.user = job->user;
    if (job->password_file != NULL)
        job->broker.password_file = job->password_file;
    if (job->ca_file != NULL)
        job->broker.ca_file = job->ca_file;
    if (job->tls || job->ca_file != NULL) {
        job->broker.port = job->broker.tls ? job->broker.port : 8883;
        job->broker.tls = true;
    }
    return reach_parse(job->options, "HOST", host, &job->broker, job->host);
}

int listen_main(int argc, char **argv)
{
    struct job job = { .seconds = 60, .lock = PTHREAD_MUTEX_INITIALIZER };
    const struct option items[] = {
        { "for", "SPAN", "how long: 30s, 5m; default a minute. Slow probes need several of their turns",
          OPTION_SPAN, &job.seconds, 1, 86400 },
        { "topic", "FILTER", "only this; may be repeated; default #", OPTION_LIST, &job.topics, 0, 0 },
        { "conf", "FILE",
          "a configuration: its broker and password if no HOST is given, its tanks\n"
          "to know places by, and what it publishes is left out",
          OPTION_TEXT, &job.conf, 0, 0 },
        { "user", "NAME", "user at the broker", OPTION_TEXT, &job.user, 0, 0 },
        { "password-file", "FILE", "file with the password, readable by you alone", OPTION_TEXT,
          &job.password_file, 0, 0 },
        { "tls", NULL, "encrypted, port 8883", OPTION_FLAG, &job.tls, 0, 0 },
        { "ca-file", "FILE", "who signed the broker's certificate", OPTION_TEXT, &job.ca_file, 0, 0 },
        { "json", NULL, "every value with its guess as one JSON object", OPTION_FLAG, &job.json, 0, 0 },
    };
    const struct options options = {
        .verb = "listen",
        .operands = "[HOST[:PORT]]",
        .about =
            "Hears what is published for a while, tells plain numbers, JSON documents and Homie devices\n"
            "apart, guesses quantity, unit and cadence, says how sure it is and why, and writes a block\n"
            "`probes = (...)` to paste. What is doubtful is commented out. Nothing is published.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic listen 192.0.2.10 --for 5m > probes.conf\n"
                "  lentic listen --conf /etc/lentic/lentic.conf --topic 'rack-b/#'\n\n"
                "Exit codes: 0 something can be pasted, 1 nothing can, 2 usage, 3 no connection.",
    };
    job.options = &options;
    const char **operands = calloc((size_t)argc + 1, sizeof *operands);
    int count = 0;
    struct site *site = NULL;
    if (operands == NULL)
        return options_fail(&options, 3, "no memory");
    int code = options_read(&options, argc, argv, operands, &count);
    if (code == OPTIONS_GO_ON && count > 1)
        code = options_fail(&options, 2, "takes one broker, not \"%.60s\" too", operands[1]);
    if (code == OPTIONS_GO_ON)
        code = read_job(&job, count > 0 ? operands[0] : NULL, &site);
    if (code == OPTIONS_GO_ON &&
        listen_init(&job.heard, site != NULL ? site->publish.base : NULL) != STATUS_OK)
        code = options_fail(&options, 3, "no memory");
    if (code == OPTIONS_GO_ON)
        code = connect_and_hear(&job);
    if (code == OPTIONS_GO_ON)
        code = tell(&job, site);
    listen_fini(&job.heard);
    site_free(site);
    free(operands);
    return code;
}
