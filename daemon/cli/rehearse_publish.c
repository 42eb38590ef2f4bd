#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"
#include "base/text.h"
#include "cli/reach.h"
#include "cli/rehearse.h"

#define WAKE_MS       20
#define PATIENCE_MS   15000 /* for the first connection */
#define CLOSE_WAIT_MS 2000

static volatile sig_atomic_t interrupted;

static void on_signal(int signal_number)
{
    (void)signal_number;
    interrupted = 1;
}

static void catch_signals(void)
{
    struct sigaction action = { .sa_handler = on_signal };
    (void)sigemptyset(&action.sa_mask);
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
}

static void nap(void)
{
    const struct timespec t = { .tv_nsec = WAKE_MS * 1000000L };
    (void)nanosleep(&t, NULL);
}

struct publisher {
    struct rehearse_job *job;
    struct mqtt *mqtt;
};

static void publish_message(void *context, const struct sim_message *m)
{
    struct publisher *p = context;
    /* The broker itself repeats what was retained. */
    if (m->replay)
        return;
    enum status st = mqtt_publish(p->mqtt, m->topic, m->payload, m->payload_len, m->qos, m->retain, 0);
    if (st != STATUS_OK) {
        p->job->lost++;
        return;
    }
    p->job->messages++;
    p->job->bytes += m->payload_len;
}

static bool wait_for_link(struct mqtt *mqtt)
{
    mono_t begin = clock_now().mono;
    while (!interrupted && mqtt_state(mqtt).link != MQTT_UP) {
        struct now now = clock_now();
        if (now.mono.ms - begin.ms > PATIENCE_MS)
            return false;
        mqtt_advance(mqtt, now);
        nap();
    }
    return true;
}

static void run(struct publisher *p)
{
    struct rehearse_job *job = p->job;
    mono_t begin = clock_now().mono;
    double done_s = 0;
    while (!interrupted && done_s < job->seconds) {
        struct now now = clock_now();
        mqtt_advance(p->mqtt, now);
        sim_set_own_time(job->sim, now.utc);
        double due_s = fmin((double)(now.mono.ms - begin.ms) / 1000 * job->speed, job->seconds);
        rehearse_advance(job, due_s - done_s, publish_message, p);
        done_s = due_s;
        if (job->truth != NULL)
            (void)fflush(job->truth);
        nap();
    }
}

int rehearse_publish(struct rehearse_job *job)
{
    char host[REACH_HOST_MAX], id[64];
    struct broker_settings broker = job->site->broker;
    struct why why = { "" };
    int code = reach_parse(job->options, "--broker", job->broker, &broker, host);
    if (code != OPTIONS_GO_ON)
        return code;
    /* The daemon's own id would throw the daemon out. */
    struct text name = text_over(id, sizeof id);
    text_printf(&name, "lentic-rehearse-%ld", (long)getpid());
    broker.client_id = id;
    struct mqtt_options options = { .broker = &broker, .clean_start = true, .event_fd = -1 };
    struct publisher p = { .job = job };
    catch_signals();
    if (mqtt_open(&options, &p.mqtt, &why) != STATUS_OK)
        return options_fail(job->options, 2, "%s", why.text);
    bool up = wait_for_link(p.mqtt);
    if (up)
        run(&p);
    struct mqtt_state state = mqtt_state(p.mqtt);
    mqtt_close(p.mqtt, CLOSE_WAIT_MS);
    if (!up)
        return options_fail(job->options, 3, "no connection to the broker at %s:%d: %s", broker.host,
                            broker.port, state.reason);
    return 0;
}
