#include "adapters/mqtt.h"

#include <MQTTAsync.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

#include "adapters/clock.h"
#include "adapters/files.h"
#include "adapters/mqtt_link.h"

static char *copy(const char *s)
{
    char *c = s != NULL ? strdup(s) : NULL;
    if (s != NULL && c == NULL)
        abort();
    return c;
}

static char *uri_of(const struct broker_settings *broker)
{
    char uri[320];
    bool v6 = strchr(broker->host, ':') != NULL;
    snprintf(uri, sizeof uri, "%s://%s%.250s%s:%d", broker->tls ? "ssl" : "tcp", v6 ? "[" : "", broker->host,
             v6 ? "]" : "", broker->port);
    return copy(uri);
}

static void copy_settings(struct mqtt *m, const struct mqtt_options *o)
{
    const struct broker_settings *b = o->broker;
    m->uri = uri_of(b);
    m->client_id = copy(b->client_id);
    m->user = copy(b->user);
    m->password_file = copy(b->password_file);
    m->ca_file = copy(b->ca_file);
    m->cert_file = copy(b->cert_file);
    m->key_file = copy(b->key_file);
    m->will_topic = copy(o->will_topic);
    m->will_payload = copy(o->will_payload);
    m->session_file = o->clean_start ? NULL : copy(o->session_file);
    m->tls = b->tls;
    m->verify = b->tls_verify;
    m->clean_start = o->clean_start;
    m->v5 = b->mqtt_version != 3;
    m->port = b->port;
    m->keepalive_s = b->keepalive_s;
    m->event_fd = o->event_fd;
    m->on_message = o->on_message;
    m->context = o->context;
    for (int i = 0; i < o->filter_count; i++)
        mqtt_filters_add(&m->wanted, o->filters[i], o->filter_qos[i]);
}

static void free_all(struct mqtt *m)
{
    char *texts[] = { m->uri,       m->client_id, m->user,       m->password_file, m->ca_file,
                      m->cert_file, m->key_file,  m->will_topic, m->will_payload,  m->session_file };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        free(texts[i]);
    mqtt_filters_fini(&m->wanted);
    mqtt_filters_fini(&m->stale);
    mqtt_queue_fini(&m->waiting);
    pthread_mutex_destroy(&m->lock);
    free(m);
}

/* Before anything is subscribed the file names it: dying at any moment leaves no filter that nobody
 * remembers. */
static void save_filters(struct mqtt *m)
{
    struct mqtt_filters all = { 0 };
    pthread_mutex_lock(&m->lock);
    m->save_filters = false;
    mqtt_filters_add_all(&all, &m->stale);
    mqtt_filters_add_all(&all, &m->wanted);
    pthread_mutex_unlock(&m->lock);
    /* Not being able to remember costs old topics in the session, no more: the start must not fail for it. */
    if (m->session_file != NULL &&
        mqtt_filters_save(&all, m->session_file, m->client_id, NULL) != STATUS_OK) {
        pthread_mutex_lock(&m->lock);
        snprintf(m->state.reason, sizeof m->state.reason, "%.120s: cannot be written", m->session_file);
        pthread_mutex_unlock(&m->lock);
    }
    mqtt_filters_fini(&all);
}

static enum status check_settings(const struct mqtt *m, struct why *why)
{
    char password[FILES_SECRET_MAX];
    utc_t until;
    enum status status = mqtt_link_check_files(m, &until, why);
    if (status == STATUS_OK && m->password_file != NULL)
        status = files_read_secret(m->password_file, password, sizeof password, why);
    explicit_bzero(password, sizeof password);
    return status == STATUS_OK ? STATUS_OK : STATUS_INVALID;
}

enum status mqtt_open(const struct mqtt_options *options, struct mqtt **out, struct why *why)
{
    struct mqtt *m = calloc(1, sizeof *m);
    struct mqtt_filters earlier = { 0 };
    if (m == NULL || !mqtt_queue_init(&m->waiting, MQTT_WAITING_BYTES)) {
        free(m);
        return why_say(why, STATUS_IO, "no memory for the broker connection");
    }
    pthread_mutex_init(&m->lock, NULL);
    copy_settings(m, options);
    m->state =
        (struct mqtt_state){ .link = MQTT_DOWN, .since = clock_now().mono, .certificate_until = UTC_NONE };
    atomic_store(&m->fd, -1);
    if (getrandom(&m->backoff.random, sizeof m->backoff.random, GRND_NONBLOCK) < 0)
        m->backoff.random = clock_monotonic_us();
    enum status status = check_settings(m, why);
    if (status != STATUS_OK) {
        free_all(m);
        return status;
    }
    if (m->session_file != NULL)
        mqtt_filters_load(&earlier, m->session_file, m->client_id);
    m->stale = mqtt_filters_without(&earlier, &m->wanted);
    mqtt_filters_fini(&earlier);
    save_filters(m);
    mqtt_link_start(m);
    *out = m;
    return STATUS_OK;
}

static void on_disconnected5(void *context, MQTTAsync_successData5 *data)
{
    (void)data;
    atomic_store(&((struct mqtt *)context)->disconnected, true);
}

static void on_disconnected3(void *context, MQTTAsync_successData *data)
{
    (void)data;
    atomic_store(&((struct mqtt *)context)->disconnected, true);
}

static void nap(void)
{
    nanosleep(&(struct timespec){ .tv_nsec = 2000000 }, NULL);
}

static bool stands(struct mqtt *m)
{
    pthread_mutex_lock(&m->lock);
    bool yes = mqtt_link_stands(m);
    pthread_mutex_unlock(&m->lock);
    return yes;
}

static bool anything_on_the_way(struct mqtt *m)
{
    pthread_mutex_lock(&m->lock);
    bool yes = mqtt_link_stands(m) && m->in_flight + m->waiting.count > 0;
    pthread_mutex_unlock(&m->lock);
    return yes;
}

void mqtt_close(struct mqtt *m, int wait_ms)
{
    if (m == NULL)
        return;
    mono_t until = mono_add(clock_now().mono, wait_ms);
    while (anything_on_the_way(m) && clock_now().mono.ms < until.ms)
        nap();
    MQTTAsync_disconnectOptions goodbye = MQTTAsync_disconnectOptions_initializer;
    goodbye.context = m;
    if (m->v5)
        goodbye.onSuccess5 = on_disconnected5;
    else
        goodbye.onSuccess = on_disconnected3;
    if (stands(m) && MQTTAsync_disconnect(m->client, &goodbye) == MQTTASYNC_SUCCESS)
        for (int i = 0; i < 250 && stands(m) && !atomic_load(&m->disconnected); i++)
            nap();
    pthread_mutex_lock(&m->lock);
    mqtt_link_set(m, MQTT_DOWN, "closed");
    pthread_mutex_unlock(&m->lock);
    mqtt_link_let_go(m);
    mqtt_link_end_turn(m);
    if (m->save_filters)
        save_filters(m);
    free_all(m);
}

static enum status hand_on(struct mqtt *m, const struct mqtt_item *item);

/* The library looks into its own queue only once a second when as much is in flight as is allowed: so what
 * waits waits here, and the next goes when one is done. */
static void publish_done(struct mqtt *m, bool well)
{
    struct mqtt_item next;
    atomic_fetch_add(well ? &m->published : &m->publish_failed, 1);
    int fd = atomic_load(&m->fd);
    if (fd >= 0)
        mqtt_socket_confirm(fd);
    pthread_mutex_lock(&m->lock);
    m->in_flight--;
    while (mqtt_link_stands(m) && m->in_flight < m->in_flight_most && mqtt_queue_front(&m->waiting, &next)) {
        m->in_flight++;
        if (hand_on(m, &next) != STATUS_OK) {
            m->in_flight--;
            atomic_fetch_add(&m->publish_failed, 1);
        }
        mqtt_queue_drop(&m->waiting);
    }
    pthread_mutex_unlock(&m->lock);
    mqtt_link_ring(m);
}

static void on_published5(void *context, MQTTAsync_successData5 *data)
{
    (void)data;
    publish_done(context, true);
}

static void on_published3(void *context, MQTTAsync_successData *data)
{
    (void)data;
    publish_done(context, true);
}

/* That code means that writing failed, others that it was given up unwritten or refused by the broker. */
static void publish_failed(struct mqtt *m, int code)
{
    if (code == MQTTASYNC_FAILURE)
        atomic_store(&m->spoilt, true);
    publish_done(m, false);
}

static void on_publish_failed5(void *context, MQTTAsync_failureData5 *data)
{
    publish_failed(context, data != NULL ? data->code : 0);
}

static void on_publish_failed3(void *context, MQTTAsync_failureData *data)
{
    publish_failed(context, data != NULL ? data->code : 0);
}

static enum status hand_on(struct mqtt *m, const struct mqtt_item *item)
{
    static const char json_type[] = "application/json";
    MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
    MQTTAsync_message message = MQTTAsync_message_initializer;
    MQTTProperty expiry = { .identifier = MQTTPROPERTY_CODE_MESSAGE_EXPIRY_INTERVAL,
                            .value.integer4 = item->expiry_s };
    MQTTProperty correlation = { .identifier = MQTTPROPERTY_CODE_CORRELATION_DATA,
                                 .value.data = { (int)item->correlation_len,
                                                 (char *)(uintptr_t)item->correlation } };
    MQTTProperty content = { .identifier = MQTTPROPERTY_CODE_CONTENT_TYPE,
                             .value.data = { sizeof json_type - 1, (char *)(uintptr_t)json_type } };
    MQTTProperty reply = { .identifier = MQTTPROPERTY_CODE_RESPONSE_TOPIC };
    response.context = m;
    response.onSuccess5 = m->v5 ? on_published5 : NULL;
    response.onFailure5 = m->v5 ? on_publish_failed5 : NULL;
    response.onSuccess = m->v5 ? NULL : on_published3;
    response.onFailure = m->v5 ? NULL : on_publish_failed3;
    message.payload = (void *)(uintptr_t)item->payload; /* read only, whatever the type says */
    message.payloadlen = (int)item->payload_len;
    message.qos = item->qos;
    message.retained = item->retain;
    if (m->v5 && item->expiry_s > 0)
        MQTTProperties_add(&message.properties, &expiry);
    if (m->v5 && item->reply_topic != NULL) {
        reply.value.data.data = (char *)(uintptr_t)item->reply_topic;
        reply.value.data.len = (int)strlen(item->reply_topic);
        MQTTProperties_add(&message.properties, &reply);
    }
    if (m->v5 && item->correlation != NULL)
        MQTTProperties_add(&message.properties, &correlation);
    if (m->v5 && item->json)
        MQTTProperties_add(&message.properties, &content);
    int rc = MQTTAsync_sendMessage(m->client, item->topic, &message, &response);
    MQTTProperties_free(&message.properties);
    if (rc == MQTTASYNC_SUCCESS)
        return STATUS_OK;
    return rc == MQTTASYNC_BAD_UTF8_STRING ? STATUS_INVALID : STATUS_IO;
}

static enum status publish(struct mqtt *m, const struct mqtt_item *item)
{
    enum status status = STATUS_OK;
    size_t topic_len = strlen(item->topic);
    if (topic_len == 0 || topic_len > 65535 || strpbrk(item->topic, "+#") != NULL || item->qos < 0 ||
        item->qos > 1 || item->payload_len > MQTT_PAYLOAD_MAX || item->correlation_len > 65535)
        return STATUS_INVALID;
    pthread_mutex_lock(&m->lock);
    bool now = m->in_flight < m->in_flight_most && m->waiting.count == 0;
    if (!mqtt_link_stands(m))
        status = STATUS_IO;
    else if (now)
        m->in_flight++;
    else if (!mqtt_queue_put(&m->waiting, item))
        status = STATUS_FULL;
    pthread_mutex_unlock(&m->lock);
    if (status != STATUS_OK || !now)
        return status;
    status = hand_on(m, item);
    if (status != STATUS_OK) {
        pthread_mutex_lock(&m->lock);
        m->in_flight--;
        pthread_mutex_unlock(&m->lock);
    }
    return status;
}

enum status mqtt_publish(struct mqtt *m, const char *topic, const void *payload, size_t n, int qos,
                         bool retain, uint32_t expiry_s)
{
    return publish(m, &(struct mqtt_item){ .topic = topic,
                                           .payload = payload,
                                           .payload_len = n,
                                           .qos = qos,
                                           .retain = retain,
                                           .expiry_s = expiry_s });
}

enum status mqtt_answer(struct mqtt *m, const char *topic, const void *payload, size_t n,
                        const char *correlation, size_t correlation_len)
{
    return publish(m, &(struct mqtt_item){ .topic = topic,
                                           .payload = payload,
                                           .payload_len = n,
                                           .correlation = correlation_len > 0 ? correlation : NULL,
                                           .correlation_len = correlation_len,
                                           .json = true,
                                           .qos = 1 });
}

enum status mqtt_ask(struct mqtt *m, const char *topic, const void *payload, size_t n,
                     const char *reply_topic, const char *correlation, size_t correlation_len)
{
    return publish(m, &(struct mqtt_item){ .topic = topic,
                                           .payload = payload,
                                           .payload_len = n,
                                           .reply_topic = reply_topic,
                                           .correlation = correlation_len > 0 ? correlation : NULL,
                                           .correlation_len = correlation_len,
                                           .json = true,
                                           .qos = 1 });
}

bool mqtt_take_connected(struct mqtt *m)
{
    return atomic_exchange(&m->connected_news, false);
}

struct mqtt_state mqtt_state(struct mqtt *m)
{
    pthread_mutex_lock(&m->lock);
    struct mqtt_state state = m->state;
    state.in_flight = m->in_flight;
    state.waiting = m->waiting.count;
    pthread_mutex_unlock(&m->lock);
    state.received = atomic_load(&m->received);
    state.held_back = atomic_load(&m->held_back);
    state.published = atomic_load(&m->published);
    state.publish_failed = atomic_load(&m->publish_failed);
    return state;
}

enum status mqtt_resubscribe(struct mqtt *m, const char *const *filters, const int *qos, int count)
{
    struct mqtt_filters fresh = { 0 }, known = { 0 };
    for (int i = 0; i < count; i++)
        mqtt_filters_add(&fresh, filters[i], qos[i]);
    pthread_mutex_lock(&m->lock);
    mqtt_filters_add_all(&known, &m->stale);
    mqtt_filters_add_all(&known, &m->wanted);
    mqtt_filters_fini(&m->stale);
    mqtt_filters_fini(&m->wanted);
    m->stale = mqtt_filters_without(&known, &fresh);
    m->wanted = fresh;
    pthread_mutex_unlock(&m->lock);
    mqtt_filters_fini(&known);
    save_filters(m);
    /* While the link is down or coming up, connecting does it. */
    if (!stands(m))
        return STATUS_OK;
    mqtt_link_subscribe(m);
    return STATUS_OK;
}

mono_t mqtt_deadline(struct mqtt *m)
{
    mono_t due = MONO_NEVER;
    pthread_mutex_lock(&m->lock);
    if (m->save_filters)
        due = m->state.since;
    else if (m->state.link == MQTT_DOWN)
        due = m->next_try;
    else if (m->state.link == MQTT_CONNECTING)
        due = mono_add(m->state.since, MQTT_ANSWER_WAIT_MS);
    pthread_mutex_unlock(&m->lock);
    return due;
}

/* Renewed while the connection stands, they should no longer be warned of. */
static void look_at_files(struct mqtt *m, struct now now)
{
    struct why unused;
    utc_t until;
    if (!m->tls || now.mono.ms - m->files_seen.ms < MS_PER_HOUR)
        return;
    m->files_seen = now.mono;
    if (mqtt_link_check_files(m, &until, &unused) != STATUS_OK)
        return;
    pthread_mutex_lock(&m->lock);
    m->state.certificate_until = until;
    pthread_mutex_unlock(&m->lock);
}

void mqtt_advance(struct mqtt *m, struct now now)
{
    pthread_mutex_lock(&m->lock);
    bool save = m->save_filters;
    bool again =
        m->state.link == MQTT_DOWN && (now.mono.ms >= m->next_try.ms || (m->clock_doubted && now.trusted));
    bool stuck = m->state.link == MQTT_CONNECTING && now.mono.ms - m->state.since.ms >= MQTT_ANSWER_WAIT_MS;
    pthread_mutex_unlock(&m->lock);
    if (save)
        save_filters(m);
    look_at_files(m, now);
    if (stuck)
        mqtt_link_ended(m, MQTT_END_NO_LINK, "the broker took the connection but did not answer");
    if (again)
        mqtt_link_start(m);
}
