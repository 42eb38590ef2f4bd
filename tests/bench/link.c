#include "link.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#define PATIENCE_S 10

struct receiver {
    bench_message *on_message;
    void *context;
};

void bench_fail(const char *sentence)
{
    fprintf(stderr, "bench: %s\n", sentence);
    exit(3);
}

double bench_now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

double bench_cpu_s(void)
{
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec) / 1e6;
}

static void tell(struct bench_link *link, int done)
{
    pthread_mutex_lock(&link->lock);
    link->done = done;
    pthread_cond_broadcast(&link->changed);
    pthread_mutex_unlock(&link->lock);
}

static void on_success(void *context, MQTTAsync_successData *data)
{
    (void)data;
    tell(context, 1);
}

static void on_failure(void *context, MQTTAsync_failureData *data)
{
    (void)data;
    tell(context, -1);
}

static void wait_done(struct bench_link *link, const char *otherwise)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += PATIENCE_S;
    pthread_mutex_lock(&link->lock);
    while (link->done == 0)
        if (pthread_cond_timedwait(&link->changed, &link->lock, &until) != 0)
            break;
    int done = link->done;
    link->done = 0;
    pthread_mutex_unlock(&link->lock);
    if (done != 1)
        bench_fail(otherwise);
}

static int on_arrived(void *context, char *topic, int topic_len, MQTTAsync_message *m)
{
    const struct receiver *receiver = context;
    (void)topic_len;
    receiver->on_message(receiver->context, topic, m->payload, m->payloadlen);
    MQTTAsync_freeMessage(&m);
    MQTTAsync_free(topic);
    return 1;
}

void bench_link_open(struct bench_link *link, int port, const char *name, const char *filter, int qos,
                     bench_message *on_message, void *context)
{
    char uri[64];
    MQTTAsync_connectOptions connect = MQTTAsync_connectOptions_initializer;
    MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
    snprintf(uri, sizeof uri, "tcp://127.0.0.1:%d", port);
    *link = (struct bench_link){ .client = NULL };
    pthread_mutex_init(&link->lock, NULL);
    pthread_cond_init(&link->changed, NULL);
    if (MQTTAsync_create(&link->client, uri, name, MQTTCLIENT_PERSISTENCE_NONE, NULL) != MQTTASYNC_SUCCESS)
        bench_fail("no client");
    if (on_message != NULL) {
        struct receiver *receiver = malloc(sizeof *receiver); /* lives as long as the process */
        if (receiver == NULL)
            bench_fail("no memory");
        *receiver = (struct receiver){ on_message, context };
        MQTTAsync_setCallbacks(link->client, receiver, NULL, on_arrived, NULL);
    }
    connect.cleansession = 1;
    connect.maxInflight = 1000;
    connect.onSuccess = on_success;
    connect.onFailure = on_failure;
    connect.context = link;
    if (MQTTAsync_connect(link->client, &connect) != MQTTASYNC_SUCCESS)
        bench_fail("cannot connect");
    wait_done(link, "no connection");
    if (filter == NULL)
        return;
    response.onSuccess = on_success;
    response.onFailure = on_failure;
    response.context = link;
    if (MQTTAsync_subscribe(link->client, filter, qos, &response) != MQTTASYNC_SUCCESS)
        bench_fail("cannot subscribe");
    wait_done(link, "no subscription");
}

static void one_less(struct bench_link *link)
{
    pthread_mutex_lock(&link->lock);
    link->outstanding--;
    pthread_cond_broadcast(&link->changed);
    pthread_mutex_unlock(&link->lock);
}

static void on_sent(void *context, MQTTAsync_successData *data)
{
    (void)data;
    one_less(context);
}

static void on_not_sent(void *context, MQTTAsync_failureData *data)
{
    (void)context;
    (void)data;
    bench_fail("a message could not be sent");
}

void bench_link_send(struct bench_link *link, const char *topic, const char *payload, int n, int qos,
                     int most)
{
    MQTTAsync_responseOptions response = MQTTAsync_responseOptions_initializer;
    response.onSuccess = on_sent;
    response.onFailure = on_not_sent;
    response.context = link;
    pthread_mutex_lock(&link->lock);
    while (link->outstanding >= most)
        pthread_cond_wait(&link->changed, &link->lock);
    link->outstanding++;
    pthread_mutex_unlock(&link->lock);
    if (MQTTAsync_send(link->client, topic, n, payload, qos, 0, &response) != MQTTASYNC_SUCCESS)
        bench_fail("a message could not be sent");
}

void bench_link_close(struct bench_link *link)
{
    MQTTAsync_disconnectOptions options = MQTTAsync_disconnectOptions_initializer;
    options.timeout = 1000;
    options.onSuccess = on_success;
    options.onFailure = on_failure;
    options.context = link;
    if (MQTTAsync_disconnect(link->client, &options) == MQTTASYNC_SUCCESS)
        wait_done(link, "did not disconnect");
    MQTTAsync_destroy(&link->client);
}
