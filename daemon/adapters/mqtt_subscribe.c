#include "adapters/mqtt_link.h"

#include <MQTTAsync.h>
#include <stdio.h>
#include <stdlib.h>

#include "adapters/mqtt_words.h"

/* What one SUBSCRIBE asked for: the answers come in its order. */
struct asked {
    struct mqtt *mqtt;
    struct mqtt_filters filters;
};

static void free_asked(struct asked *asked)
{
    mqtt_filters_fini(&asked->filters);
    free(asked);
}

static void subscribed(struct asked *asked, int refused, int code)
{
    struct mqtt *m = asked->mqtt;
    char reason[160] = "";
    if (refused >= 0)
        snprintf(reason, sizeof reason, "the subscription to \"%.60s\" is refused: %s",
                 asked->filters.names[refused], mqtt_words_of(code));
    pthread_mutex_lock(&m->lock);
    if (m->state.link != MQTT_DOWN) {
        bool fresh = m->state.link == MQTT_CONNECTING;
        enum mqtt_link link = refused >= 0 ? MQTT_DEAF : MQTT_UP;
        if (fresh)
            m->state.connects++;
        if (fresh)
            mqtt_link_set(m, link, reason);
        else
            m->state.link = link;
        snprintf(m->state.reason, sizeof m->state.reason, "%s", reason);
        if (fresh)
            atomic_store(&m->connected_news, true);
    }
    pthread_mutex_unlock(&m->lock);
    free_asked(asked);
    mqtt_link_ring(m);
}

static void on_subscribed5(void *context, MQTTAsync_successData5 *data)
{
    struct asked *asked = context;
    int refused = -1, code = 0;
    for (int i = 0; i < asked->filters.count && i < data->alt.sub.reasonCodeCount && refused < 0; i++) {
        code = asked->filters.count > 1 ? (int)data->alt.sub.reasonCodes[i] : (int)data->reasonCode;
        refused = code >= 0x80 ? i : -1;
    }
    subscribed(asked, refused, code);
}

static void on_subscribed3(void *context, MQTTAsync_successData *data)
{
    struct asked *asked = context;
    int refused = -1, code = 0;
    for (int i = 0; i < asked->filters.count && refused < 0; i++) {
        code = asked->filters.count > 1 ? data->alt.qosList[i] : data->alt.qos;
        refused = code >= 0x80 ? i : -1;
    }
    subscribed(asked, refused, code);
}

/* Called for the refusal of a single filter, and when the connection goes before the answer. */
static void on_subscribe_failed5(void *context, MQTTAsync_failureData5 *data)
{
    if (data != NULL && (int)data->reasonCode >= 0x80)
        subscribed(context, 0, (int)data->reasonCode);
    else
        free_asked(context);
}

static void on_subscribe_failed3(void *context, MQTTAsync_failureData *data)
{
    if (data != NULL && data->code >= 0x80)
        subscribed(context, 0, data->code);
    else
        free_asked(context);
}

static void subscribe(struct mqtt *m)
{
    struct asked *asked = calloc(1, sizeof *asked);
    if (asked == NULL)
        abort();
    asked->mqtt = m;
    pthread_mutex_lock(&m->lock);
    mqtt_filters_add_all(&asked->filters, &m->wanted);
    pthread_mutex_unlock(&m->lock);
    int n = asked->filters.count;
    if (n == 0) {
        subscribed(asked, -1, 0);
        return;
    }
    MQTTSubscribe_options *each = calloc((size_t)n, sizeof *each);
    int *qos = calloc((size_t)n, sizeof *qos);
    if (each == NULL || qos == NULL)
        abort();
    for (int i = 0; i < n; i++) {
        each[i] = (MQTTSubscribe_options)MQTTSubscribe_options_initializer;
        /* Off, the flag says "replayed", which is what matters of readings. */
        each[i].retainAsPublished = (asked->filters.qos[i] & MQTT_RETAIN_AS_PUBLISHED) != 0;
        qos[i] = asked->filters.qos[i] & ~MQTT_RETAIN_AS_PUBLISHED;
    }
    MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
    response.context = asked;
    if (m->v5) {
        response.onSuccess5 = on_subscribed5;
        response.onFailure5 = on_subscribe_failed5;
        response.subscribeOptions = each[0];
        response.subscribeOptionsCount = n;
        response.subscribeOptionsList = each;
    } else {
        response.onSuccess = on_subscribed3;
        response.onFailure = on_subscribe_failed3;
    }
    int rc = MQTTAsync_subscribeMany(m->client, n, asked->filters.names, qos, &response);
    free(each);
    free(qos);
    if (rc != MQTTASYNC_SUCCESS) {
        free_asked(asked);
        mqtt_link_ended(m, MQTT_END_LOST, "the subscriptions could not be sent");
    }
}

static void unsubscribed(struct mqtt *m)
{
    pthread_mutex_lock(&m->lock);
    mqtt_filters_fini(&m->stale);
    m->save_filters = true;
    pthread_mutex_unlock(&m->lock);
    mqtt_link_ring(m);
}

static void on_unsubscribed5(void *context, MQTTAsync_successData5 *data)
{
    (void)data;
    unsubscribed(context);
}

static void on_unsubscribed3(void *context, MQTTAsync_successData *data)
{
    (void)data;
    unsubscribed(context);
}

/* What an earlier configuration subscribed still arrives from the broker's session until it is taken back.
 * When the answer is lost it is done again on the next connection. */
static void unsubscribe_stale(struct mqtt *m)
{
    struct mqtt_filters gone = { 0 };
    pthread_mutex_lock(&m->lock);
    mqtt_filters_add_all(&gone, &m->stale);
    pthread_mutex_unlock(&m->lock);
    MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
    response.context = m;
    if (m->v5)
        response.onSuccess5 = on_unsubscribed5;
    else
        response.onSuccess = on_unsubscribed3;
    if (gone.count > 0)
        (void)MQTTAsync_unsubscribeMany(m->client, gone.count, gone.names, &response);
    mqtt_filters_fini(&gone);
}

void mqtt_link_subscribe(struct mqtt *m)
{
    subscribe(m);
    unsubscribe_stale(m);
}
