#include "cli/talk.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/mqtt.h"
#include "base/text.h"
#include "wire/json.h"

#define PATIENCE_MS   5000
#define ANSWER_MS     5000
#define STEP_MS       20
#define CLOSE_WAIT_MS 500
#define TOPIC_ROOM    TALK_TOPIC_MAX

static volatile sig_atomic_t interrupted;

static void on_signal(int number)
{
    (void)number;
    interrupted = 1;
}

static bool is_on(const struct message *m, const char *topic)
{
    size_t n = strlen(topic);
    return m->topic_len == n && memcmp(m->topic, topic, n) == 0;
}

/* A late answer to an earlier request is not ours any more. Where one of us speaks 3.1.1, answers come on
 * BASE/done and nothing tells whose they are. */
static bool is_answer(const struct talk *t, const struct message *m)
{
    char done[TOPIC_ROOM];
    (void)snprintf(done, sizeof done, "%s/done", t->site->publish.base);
    if (is_on(m, t->reply))
        return m->correlation != NULL && m->correlation_len == strlen(t->token) &&
               memcmp(m->correlation, t->token, m->correlation_len) == 0;
    return is_on(m, done);
}

static bool on_message(void *context, const struct message *m)
{
    struct talk *t = context;
    pthread_mutex_lock(&t->lock);
    if (is_answer(t, m))
        (void)snprintf(t->answer, sizeof t->answer, "%.*s", (int)m->payload_len, m->payload);
    else if (t->hear != NULL)
        t->hear(t->context, m);
    pthread_mutex_unlock(&t->lock);
    return true;
}

bool talk_pass(struct talk *t, int ms)
{
    mono_t end = mono_add(clock_now().mono, ms);
    while (!interrupted) {
        struct now now = clock_now();
        mqtt_advance(t->mqtt, now);
        if (now.mono.ms >= end.ms)
            return true;
        const struct timespec nap = { .tv_nsec = STEP_MS * 1000000L };
        (void)nanosleep(&nap, NULL);
    }
    return false;
}

static int connect_or_tell(struct talk *t)
{
    for (int waited = 0; mqtt_state(t->mqtt).link != MQTT_UP; waited += STEP_MS)
        if (!talk_pass(t, STEP_MS) || waited > PATIENCE_MS)
            return options_fail(t->options, 3, "no connection to the broker at %s:%d: %s",
                                t->site->broker.host, t->site->broker.port, mqtt_state(t->mqtt).reason);
    return OPTIONS_GO_ON;
}

int talk_open(struct talk *t, const struct options *o, const struct site *site, const char *const *filters,
              int count, void (*hear)(void *context, const struct message *m), void *context)
{
    const struct sigaction action = { .sa_handler = on_signal };
    struct broker_settings broker = site->broker;
    const char *all[TALK_FILTERS_MAX + 2];
    int qos[TALK_FILTERS_MAX + 2];
    char id[64], done[TOPIC_ROOM];
    struct why why = { "" };
    *t = (struct talk){ .options = o, .site = site, .hear = hear, .context = context };
    pthread_mutex_init(&t->lock, NULL);
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
    /* The daemon's own id would throw the daemon out. */
    (void)snprintf(id, sizeof id, "lentic-%s-%ld", o->verb, (long)getpid());
    (void)snprintf(done, sizeof done, "%s/done", site->publish.base);
    (void)snprintf(t->reply, sizeof t->reply, "%s/answer/%s", site->publish.base, id);
    broker.client_id = id;
    for (int i = 0; i < count; i++)
        all[i] = filters[i];
    all[count] = done;
    all[count + 1] = t->reply;
    for (int i = 0; i < count + 2; i++)
        qos[i] = 1;
    const struct mqtt_options options = { .broker = &broker,
                                          .filters = all,
                                          .filter_qos = qos,
                                          .filter_count = count + 2,
                                          .clean_start = true,
                                          .on_message = on_message,
                                          .context = t,
                                          .event_fd = -1 };
    if (mqtt_open(&options, &t->mqtt, &why) != STATUS_OK)
        return options_fail(o, 2, "%s", why.text);
    return connect_or_tell(t);
}

void talk_close(struct talk *t)
{
    if (t->mqtt != NULL)
        mqtt_close(t->mqtt, CLOSE_WAIT_MS);
    t->mqtt = NULL;
    pthread_mutex_destroy(&t->lock);
}

/* 0 or 1 once it is the answer to that verb; -1 not yet. */
static int take_answer(struct talk *t, const char *verb, char *sentence)
{
    struct json_doc doc;
    int code = -1;
    pthread_mutex_lock(&t->lock);
    if (t->answer[0] != '\0' && json_doc_parse(t->answer, strlen(t->answer), &doc, NULL) == STATUS_OK) {
        struct json_item command = json_doc_at(&doc, "/command"), text = json_doc_at(&doc, "/text");
        if (command.kind == JSON_KIND_TEXT && strcmp(command.text, verb) == 0) {
            (void)snprintf(sentence, TALK_ANSWER_MAX, "%s", text.kind == JSON_KIND_TEXT ? text.text : "");
            code = json_doc_at(&doc, "/ok").number != 0 ? 0 : 1;
        }
        json_doc_fini(&doc);
    }
    t->answer[0] = '\0';
    pthread_mutex_unlock(&t->lock);
    return code;
}

int talk_command(struct talk *t, const char *verb, const char *json, char *sentence)
{
    char topic[TOPIC_ROOM];
    (void)snprintf(topic, sizeof topic, "%s/do/%s", t->site->publish.base, verb);
    pthread_mutex_lock(&t->lock);
    (void)snprintf(t->token, sizeof t->token, "%u", ++t->asked);
    pthread_mutex_unlock(&t->lock);
    if (mqtt_ask(t->mqtt, topic, json, strlen(json), t->reply, t->token, strlen(t->token)) != STATUS_OK) {
        (void)snprintf(sentence, TALK_ANSWER_MAX, "the broker does not take the command now");
        return 3;
    }
    for (int waited = 0; waited < ANSWER_MS && talk_pass(t, STEP_MS); waited += STEP_MS) {
        int code = take_answer(t, verb, sentence);
        if (code >= 0)
            return code;
    }
    (void)snprintf(sentence, TALK_ANSWER_MAX, "no answer: is the service running, on this broker?");
    return 3;
}
