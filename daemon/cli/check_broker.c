/* Whether the broker lets the service in, takes its subscriptions, and hands back what it says. */
#include "cli/check_broker.h"

#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"
#include "app/daemon.h"

#define PATIENCE_MS 8000
#define ECHO_MS     3000
#define STEP_MS     20

struct visit {
    struct mqtt *mqtt;
    char topic[320];
    atomic_bool came_back;
};

static bool on_message(void *context, const struct message *m)
{
    struct visit *v = context;
    if (m->topic_len == strlen(v->topic) && memcmp(m->topic, v->topic, m->topic_len) == 0)
        atomic_store(&v->came_back, true);
    return true;
}

/* The first try decides: what follows would only try again. */
static bool is_decided(const struct visit *v)
{
    struct mqtt_state state = mqtt_state(v->mqtt);
    return state.link == MQTT_UP || state.link == MQTT_DEAF ||
           (state.link == MQTT_DOWN && state.reason[0] != '\0');
}

static bool has_come_back(const struct visit *v)
{
    return atomic_load(&v->came_back);
}

static bool wait_until(struct visit *v, bool (*done)(const struct visit *v), int64_t ms)
{
    const struct timespec nap = { .tv_nsec = STEP_MS * 1000000L };
    mono_t begin = clock_now().mono;
    while (!done(v) && clock_now().mono.ms - begin.ms < ms) {
        mqtt_advance(v->mqtt, clock_now());
        (void)nanosleep(&nap, NULL);
    }
    return done(v);
}

/* A broker that takes a subscription may still keep back every message of it. */
static enum status hear_ourselves(struct visit *v, struct why *why)
{
    if (mqtt_publish(v->mqtt, v->topic, "1", 1, 1, false, 10) != STATUS_OK)
        return why_say(why, STATUS_IO, "%s cannot be published", v->topic);
    if (wait_until(v, has_come_back, ECHO_MS))
        return STATUS_OK;
    return why_say(why, STATUS_REFUSED,
                   "what is published on %s does not come back: may this user write and read there?",
                   v->topic);
}

static enum status visit(struct visit *v, struct why *why)
{
    if (!wait_until(v, is_decided, PATIENCE_MS))
        return why_say(why, STATUS_IO, "no answer within %d s", PATIENCE_MS / 1000);
    struct mqtt_state state = mqtt_state(v->mqtt);
    if (state.link == MQTT_UP)
        return hear_ourselves(v, why);
    return why_say(why, state.link == MQTT_DEAF ? STATUS_REFUSED : STATUS_IO, "%s", state.reason);
}

enum status check_broker(const struct site *site, int *subscriptions, struct why *why)
{
    struct visit v = { .mqtt = NULL };
    struct broker_settings broker = site->broker;
    const char *filters[DAEMON_FILTERS_MAX + 1];
    int qos[DAEMON_FILTERS_MAX + 1];
    char buf[600], id[48];
    int count = daemon_filters(site, filters, qos, DAEMON_FILTERS_MAX, buf, sizeof buf);
    *subscriptions = count;
    /* The service's own id would throw the service out. */
    snprintf(id, sizeof id, "lentic-check-%ld", (long)getpid());
    snprintf(v.topic, sizeof v.topic, "%.240s/answer/%s", site->publish.base, id);
    broker.client_id = id;
    filters[count] = v.topic;
    qos[count++] = 0;
    const struct mqtt_options options = { .broker = &broker,
                                          .filters = filters,
                                          .filter_qos = qos,
                                          .filter_count = count,
                                          .clean_start = true,
                                          .on_message = on_message,
                                          .context = &v,
                                          .event_fd = -1 };
    enum status st = mqtt_open(&options, &v.mqtt, why);
    if (st == STATUS_OK)
        st = visit(&v, why);
    mqtt_close(v.mqtt, 0);
    return st;
}
