#include "adapters/mqtt_link.h"

#include <MQTTAsync.h>
#include <stdio.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "adapters/certificate.h"
#include "adapters/clock.h"
#include "adapters/files.h"
#include "adapters/mqtt_ahead.h"
#include "adapters/mqtt_words.h"

#define CONNECT_WAIT_S 10
#define RECEIVE_MAXIMUM                                                                                      \
    100 /* deliveries the broker may have on the way: as many are repeated after a cut                       \
         */
#define TAKE_TURNS_MS 100
#define REACH_WAIT_MS 300 /* for a broker to take a bare connection */

/* The library tells sockets apart by number only; so that each client finds its own, they connect in turn. */
static _Atomic(struct mqtt *) connecting;

void mqtt_link_ring(const struct mqtt *m)
{
    if (m->event_fd >= 0)
        eventfd_write(m->event_fd, 1);
}

void mqtt_link_end_turn(struct mqtt *m)
{
    struct mqtt *own = m;
    atomic_compare_exchange_strong(&connecting, &own, NULL);
}

void mqtt_link_set(struct mqtt *m, enum mqtt_link link, const char *reason)
{
    m->state.link = link;
    m->state.since = clock_now().mono;
    snprintf(m->state.reason, sizeof m->state.reason, "%s", reason);
}

bool mqtt_link_stands(const struct mqtt *m)
{
    return m->state.link == MQTT_UP || m->state.link == MQTT_DEAF;
}

static const char *words_of_taken(enum mqtt_end end)
{
    return end == MQTT_END_TAKEN ? mqtt_words_of(MQTT_CODE_TAKEN_OVER)
                                 : "the broker is there but drops us soon after each connecting: probably "
                                   "another client has our client id; give each its own broker.client_id";
}

void mqtt_link_ended(struct mqtt *m, enum mqtt_end end, const char *reason)
{
    bool taken = false;
    mono_t now = clock_now().mono;
    mqtt_ahead_end(atomic_exchange(&m->fd, -1));
    mqtt_link_end_turn(m);
    pthread_mutex_lock(&m->lock);
    if (m->state.link != MQTT_DOWN) {
        bool was_up = m->state.link != MQTT_CONNECTING;
        if (atomic_load(&m->cut))
            end = MQTT_END_CUT;
        else if ((end == MQTT_END_LOST || end == MQTT_END_GONE) && !was_up)
            end = MQTT_END_NO_LINK;
        int64_t pause = mqtt_backoff_ended(&m->backoff, end, was_up ? now.ms - m->state.since.ms : 0, &taken);
        m->next_try = mono_add(now, pause);
        m->state.taken_over += taken;
        if (taken)
            reason = words_of_taken(end);
        else if (end == MQTT_END_CUT)
            reason = "cut by us to hold back an acknowledgement: no room for the message";
        mqtt_link_set(m, MQTT_DOWN, reason);
        /* The caller publishes anew on the next connection: what is old by then must not come after it. */
        atomic_fetch_add(&m->publish_failed, (uint64_t)m->waiting.count);
        mqtt_queue_clear(&m->waiting);
    }
    pthread_mutex_unlock(&m->lock);
    mqtt_link_ring(m);
}

static void connected(struct mqtt *m, int in_flight_most)
{
    pthread_mutex_lock(&m->lock);
    m->in_flight_most = in_flight_most;
    pthread_mutex_unlock(&m->lock);
    int fd = mqtt_socket_find(&m->before, m->port);
    mqtt_socket_peer(fd, &m->peer);
    if (fd >= 0)
        mqtt_socket_hurry(fd);
    if (fd >= 0 && !m->tls)
        mqtt_ahead_begin(fd);
    atomic_store(&m->fd, fd);
    mqtt_link_end_turn(m);
    mqtt_link_subscribe(m);
}

static void on_connected5(void *context, MQTTAsync_successData5 *data)
{
    int most = MQTT_IN_FLIGHT_MAX;
    MQTTProperty *window = MQTTProperties_getProperty(&data->properties, MQTTPROPERTY_CODE_RECEIVE_MAXIMUM);
    if (window != NULL && window->value.integer2 > 0 && window->value.integer2 < most)
        most = window->value.integer2;
    connected(context, most);
}

static void on_connected3(void *context, MQTTAsync_successData *data)
{
    (void)data;
    connected(context, MQTT_IN_FLIGHT_MAX);
}

/* A board without a clock boots in 1970, when no certificate counts yet. */
static void tell_certificate(struct mqtt *m, char *reason, size_t cap)
{
    struct now now = clock_now();
    char here[UTC_TEXT_MAX];
    utc_format(now.utc, here, sizeof here);
    pthread_mutex_lock(&m->lock);
    m->clock_doubted = !now.trusted;
    pthread_mutex_unlock(&m->lock);
    if (now.trusted)
        snprintf(reason, cap,
                 "no TLS connection with %.50s: certificate verify failed; the clock here says %.16s", m->uri,
                 here);
    else
        snprintf(
            reason, cap,
            "its certificate does not count yet by the clock here, which says %.10s and is not set: set it, "
            "or give it network time; tried again until then",
            here);
}

static void connect_failed(struct mqtt *m, int code, const char *message)
{
    char reason[160], tls[80];
    pthread_mutex_lock(&m->lock);
    snprintf(tls, sizeof tls, "%s", m->tls_fault);
    pthread_mutex_unlock(&m->lock);
    if (code > 0)
        snprintf(reason, sizeof reason, "%s", mqtt_words_of(code));
    else if (strcmp(tls, "certificate verify failed") == 0)
        tell_certificate(m, reason, sizeof reason);
    else if (tls[0] != '\0')
        snprintf(reason, sizeof reason, "no TLS connection with %.50s: %s", m->uri, tls);
    else
        snprintf(reason, sizeof reason, "no answer from a broker at %.60s%s%s%.40s", m->uri,
                 m->tls ? ", or its certificate is for another name" : "", message != NULL ? ": " : "",
                 message != NULL ? message : "");
    mqtt_link_ended(m, MQTT_END_NO_LINK, reason);
}

static void on_connect_failed5(void *context, MQTTAsync_failureData5 *data)
{
    connect_failed(context, data != NULL ? data->code : 0, data != NULL ? data->message : NULL);
}

static void on_connect_failed3(void *context, MQTTAsync_failureData *data)
{
    connect_failed(context, data != NULL ? data->code : 0, data != NULL ? data->message : NULL);
}

static bool went_quickly(struct mqtt *m)
{
    pthread_mutex_lock(&m->lock);
    bool quickly = mqtt_link_stands(m) && clock_now().mono.ms - m->state.since.ms < MQTT_BACKOFF_QUICK_MS;
    pthread_mutex_unlock(&m->lock);
    return quickly && !atomic_load(&m->cut);
}

/* A broker that throws us out for another client takes new connections at the same time, one that died does
 * not. Asked at once: a minute later it may be there again. */
static void lost(struct mqtt *m, const char *reason)
{
    bool gone = went_quickly(m) && !mqtt_socket_reaches(&m->peer, REACH_WAIT_MS);
    mqtt_link_ended(m, gone ? MQTT_END_GONE : MQTT_END_LOST, reason);
}

static void on_lost(void *context, char *cause)
{
    (void)cause;
    lost(context, "the connection to the broker was lost");
}

static void on_goodbye(void *context, MQTTProperties *properties, enum MQTTReasonCodes code)
{
    (void)properties;
    if ((int)code < 0x80)
        lost(context, "the broker closed the connection");
    else
        mqtt_link_ended(context, (int)code == MQTT_CODE_TAKEN_OVER ? MQTT_END_TAKEN : MQTT_END_GONE,
                        mqtt_words_of((int)code));
}

/* "7F..:error:0A000086:SSL routines:function:certificate verify failed:file:line:": the sixth part is for
 * people. */
static int on_tls_fault(const char *text, size_t n, void *context)
{
    struct mqtt *m = context;
    size_t from = 0, parts = 0, to;
    for (size_t i = 0; i < n && parts < 5; i++)
        if (text[i] == ':' && ++parts == 5)
            from = i + 1;
    for (to = from; to < n && text[to] != ':' && text[to] != '\n';)
        to++;
    pthread_mutex_lock(&m->lock);
    snprintf(m->tls_fault, sizeof m->tls_fault, "%.*s", (int)(to - from), text + from);
    pthread_mutex_unlock(&m->lock);
    return 1;
}

static void fill_properties(struct message *out, MQTTProperties *p)
{
    MQTTProperty *expiry = MQTTProperties_getProperty(p, MQTTPROPERTY_CODE_MESSAGE_EXPIRY_INTERVAL);
    MQTTProperty *reply = MQTTProperties_getProperty(p, MQTTPROPERTY_CODE_RESPONSE_TOPIC);
    MQTTProperty *correlation = MQTTProperties_getProperty(p, MQTTPROPERTY_CODE_CORRELATION_DATA);
    if (expiry != NULL)
        out->expiry_left_s = expiry->value.integer4;
    if (reply != NULL) {
        out->reply_topic = reply->value.data.data;
        out->reply_topic_len = (uint32_t)reply->value.data.len;
    }
    if (correlation != NULL) {
        out->correlation = correlation->value.data.data;
        out->correlation_len = (uint32_t)correlation->value.data.len;
    }
}

/* The library sends the acknowledgement whether we take the message or not. Cutting the connection before it
 * can is what leaves the message with the broker; writing must go on to succeed (mqtt_link_let_go). Later
 * ones of the same connection must wait too, to keep order. */
static void hold_back(struct mqtt *m)
{
    int fd = atomic_load(&m->fd);
    atomic_fetch_add(&m->held_back, 1);
    if (!atomic_exchange(&m->cut, true) && fd >= 0)
        mqtt_socket_cut(fd);
}

static int on_arrived(void *context, char *topic, int topic_len, MQTTAsync_message *message)
{
    struct mqtt *m = context;
    struct message in = {
        .topic = topic,
        .topic_len = topic_len > 0 ? (uint32_t)topic_len : (uint32_t)strlen(topic),
        .payload = message->payload,
        .payload_len = message->payloadlen > 0 ? (uint32_t)message->payloadlen : 0,
        .qos = message->qos,
        .retain = message->retained != 0,
        .dup = message->dup != 0,
        .now = clock_now(),
    };
    in.now.utc = mqtt_stamp(&m->stamps, in.topic, in.topic_len, in.now.utc);
    if (m->v5)
        fill_properties(&in, &message->properties);
    bool refuse = in.qos > 0 && atomic_load(&m->cut);
    if (!refuse && m->on_message(m->context, &in))
        atomic_fetch_add(&m->received, 1);
    else if (in.qos > 0)
        hold_back(m);
    MQTTAsync_freeMessage(&message);
    MQTTAsync_free(topic);
    return 1;
}

enum status mqtt_link_check_files(const struct mqtt *m, utc_t *until, struct why *why)
{
    const char *files[] = { m->ca_file, m->cert_file, m->key_file };
    *until = UTC_NONE;
    for (int i = 0; m->tls && i < 3; i++) {
        if (files[i] != NULL && access(files[i], R_OK) != 0)
            return why_say(why, STATUS_INVALID, "%s: this TLS file cannot be read", files[i]);
        utc_t end = i == 2 || files[i] == NULL ? UTC_NONE
                    : i == 0                   ? certificate_last_ends(files[i])
                                               : certificate_ends(files[i]);
        if (utc_is_set(end) && (!utc_is_set(*until) || end.ms < until->ms))
            *until = end;
    }
    return STATUS_OK;
}

/* The TLS library sets itself up when it is first used; otherwise its tables are filled for every client. */
static void spare_tls(void)
{
    MQTTAsync_init_options options = MQTTAsync_init_options_initializer;
    options.do_openssl_init = 0;
    MQTTAsync_global_init(&options);
}

static void hear_no_loss(void *context, char *cause)
{
    (void)context;
    (void)cause;
}

static int take_nothing(void *context, char *topic, int topic_len, MQTTAsync_message *message)
{
    (void)context;
    (void)topic_len;
    MQTTAsync_freeMessage(&message);
    MQTTAsync_free(topic);
    return 1;
}

/* The library (1.3.12) frees a message at QoS 1 whose writing failed, but keeps it in its list:
 * destroying the client would free it once more, by then perhaps somebody else's memory. Such a client is
 * left lying, some kilobytes for each connection that broke in the middle of a publish. */
void mqtt_link_let_go(struct mqtt *m)
{
    MQTTAsync old = m->client;
    m->client = NULL;
    /* The next socket may get the same number. */
    mqtt_ahead_end(atomic_exchange(&m->fd, -1));
    if (old != NULL && !atomic_exchange(&m->spoilt, false)) {
        MQTTAsync_destroy(&old);
    } else if (old != NULL) {
        MQTTAsync_setCallbacks(old, NULL, hear_no_loss, take_nothing, NULL);
        MQTTAsync_setDisconnected(old, NULL, NULL);
        pthread_mutex_lock(&m->lock);
        m->in_flight = 0; /* nobody tells of them any more */
        pthread_mutex_unlock(&m->lock);
    }
}

static bool new_client(struct mqtt *m)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, spare_tls);
    MQTTAsync fresh = NULL;
    MQTTAsync_createOptions create = MQTTAsync_createOptions_initializer5;
    create.MQTTVersion = m->v5 ? MQTTVERSION_5 : MQTTVERSION_3_1_1;
    create.maxBufferedMessages = 2 * MQTT_IN_FLIGHT_MAX;
    bool made = MQTTAsync_createWithOptions(&fresh, m->uri, m->client_id, MQTTCLIENT_PERSISTENCE_NONE, NULL,
                                            &create) == MQTTASYNC_SUCCESS;
    /* Otherwise it writes a line of text a packet, which nobody reads. */
    MQTTAsync_setTraceLevel(MQTTASYNC_TRACE_ERROR);
    /* The old one goes after the new one is there: with the last client the library ends its threads. */
    mqtt_link_let_go(m);
    m->client = made ? fresh : NULL;
    if (!made)
        return false;
    MQTTAsync_setCallbacks(m->client, m, on_lost, on_arrived, NULL);
    if (m->v5)
        MQTTAsync_setDisconnected(m->client, m, on_goodbye);
    return true;
}

static int connect_with(struct mqtt *m, const char *password)
{
    MQTTAsync_connectOptions o5 = MQTTAsync_connectOptions_initializer5;
    MQTTAsync_connectOptions o3 = MQTTAsync_connectOptions_initializer;
    MQTTAsync_connectOptions *o = m->v5 ? &o5 : &o3;
    MQTTAsync_willOptions will = MQTTAsync_willOptions_initializer;
    MQTTAsync_SSLOptions tls = MQTTAsync_SSLOptions_initializer;
    MQTTProperties properties = MQTTProperties_initializer;
    /* With 0 the library clears its lists when the connection goes: see mqtt_link_let_go. */
    MQTTProperty session = { .identifier = MQTTPROPERTY_CODE_SESSION_EXPIRY_INTERVAL,
                             .value.integer4 = m->clean_start ? 1 : MQTT_SESSION_S };
    MQTTProperty window = { .identifier = MQTTPROPERTY_CODE_RECEIVE_MAXIMUM,
                            .value.integer2 = RECEIVE_MAXIMUM };
    o->context = m;
    o->keepAliveInterval = m->keepalive_s;
    o->connectTimeout = CONNECT_WAIT_S;
    /* We keep to the limit ourselves. The library takes an acknowledgement off its own count only after it
     * has told us of it; at its limit by then, it would look at its queue again after a second only. */
    o->maxInflight = 2 * MQTT_IN_FLIGHT_MAX;
    o->username = m->user;
    o->password = password;
    if (m->v5) {
        o->cleanstart = m->clean_start;
        o->onSuccess5 = on_connected5;
        o->onFailure5 = on_connect_failed5;
        MQTTProperties_add(&properties, &session);
        MQTTProperties_add(&properties, &window);
        o->connectProperties = &properties;
    } else {
        o->MQTTVersion = MQTTVERSION_3_1_1;
        o->cleansession = m->clean_start;
        o->onSuccess = on_connected3;
        o->onFailure = on_connect_failed3;
    }
    if (m->will_topic != NULL) {
        will.topicName = m->will_topic;
        will.message = m->will_payload;
        will.retained = 1;
        will.qos = 1;
        o->will = &will;
    }
    if (m->tls) {
        tls.trustStore = m->ca_file;
        tls.keyStore = m->cert_file;
        tls.privateKey = m->key_file;
        tls.enableServerCertAuth = m->verify;
        tls.verify = m->verify;
        tls.sslVersion = MQTT_SSL_VERSION_TLS_1_2;
        /* The MQTT library passes its version on to no recent TLS library, whose own least one is a matter of
         * the system's settings. With these ciphers, which came with TLS 1.2, nothing older comes about. */
        tls.enabledCipherSuites = "TLSv1.2:!aNULL:!eNULL:@SECLEVEL=2";
        tls.ssl_error_cb = on_tls_fault;
        tls.ssl_error_context = m;
        o->ssl = &tls;
    }
    int rc = MQTTAsync_connect(m->client, o);
    MQTTProperties_free(&properties);
    return rc;
}

/* Main thread, link down. */
void mqtt_link_start(struct mqtt *m)
{
    struct mqtt *nobody = NULL;
    char password[FILES_SECRET_MAX];
    struct why why;
    utc_t until = UTC_NONE;
    char reason[sizeof m->state.reason];
    bool my_turn = atomic_compare_exchange_strong(&connecting, &nobody, m);
    pthread_mutex_lock(&m->lock);
    /* What kept it down last time says more than that it is tried again. */
    snprintf(reason, sizeof reason, "%s", m->state.reason[0] != '\0' ? m->state.reason : "connecting");
    if (my_turn)
        mqtt_link_set(m, MQTT_CONNECTING, reason);
    else
        m->next_try = mono_add(clock_now().mono, TAKE_TURNS_MS);
    m->tls_fault[0] = '\0';
    m->clock_doubted = m->clock_doubted && !my_turn;
    pthread_mutex_unlock(&m->lock);
    if (!my_turn)
        return;
    enum status status = mqtt_link_check_files(m, &until, &why);
    if (status == STATUS_OK && m->password_file != NULL)
        status = files_read_secret(m->password_file, password, sizeof password, &why);
    pthread_mutex_lock(&m->lock);
    m->state.certificate_until = until;
    m->files_seen = clock_now().mono;
    pthread_mutex_unlock(&m->lock);
    if (status != STATUS_OK) {
        mqtt_link_ended(m, MQTT_END_NO_LINK, why.text);
        return;
    }
    atomic_store(&m->fd, -1);
    bool made = new_client(m);
    atomic_store(&m->cut, false);
    mqtt_socket_note(&m->before);
    int rc = made ? connect_with(m, m->password_file != NULL ? password : NULL) : MQTTASYNC_FAILURE;
    explicit_bzero(password, sizeof password);
    if (rc != MQTTASYNC_SUCCESS)
        mqtt_link_ended(m, MQTT_END_NO_LINK, "the broker settings are not such as the MQTT library can use");
}
