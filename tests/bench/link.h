/* One MQTT connection for the benchmark's programs: blocking connect, bounded sending. Plain Paho, so that
 * what is compared with the daemon is what anybody would write. */
#ifndef LENTIC_BENCH_LINK_H
#define LENTIC_BENCH_LINK_H

#include <MQTTAsync.h>
#include <pthread.h>
#include <stdbool.h>

struct bench_link {
    MQTTAsync client;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    int done;        /* 0 waiting, 1 done, -1 failed: of connect and subscribe */
    int outstanding; /* sent, not yet complete */
};

typedef void bench_message(void *context, const char *topic, const char *payload, int n);

/* Ends the process with a sentence when it cannot be done. filter NULL: no subscription. */
void bench_link_open(struct bench_link *link, int port, const char *name, const char *filter, int qos,
                     bench_message *on_message, void *context);
/* Waits while `most` messages are on their way. */
void bench_link_send(struct bench_link *link, const char *topic, const char *payload, int n, int qos,
                     int most);
void bench_link_close(struct bench_link *link);

double bench_now_s(void); /* monotonic */
double bench_cpu_s(void); /* of this process */
void bench_fail(const char *sentence);

#endif
