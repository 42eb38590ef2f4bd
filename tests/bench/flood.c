/* Publishes readings of many probes with their own times, then one more whose effect it waits for.
 * usage: flood PORT COUNT QOS TANKS QUANTITIES RATE FIRST_MS STEP_MS END_TOPIC DONE_FILTER
 * Topics bench/tNN/QUANTITY, one to five quantities a tank; RATE 0: as fast as can be. After COUNT readings a
 * low temperature goes to END_TOPIC; prints the seconds until something came on DONE_FILTER. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "link.h"

#define QUANTITIES_MOST 5
#define IN_FLIGHT       400
#define PATIENCE_S      600
#define TOPICS_LONG     32

static const struct {
    const char *name;
    double value, step;
} quantities[QUANTITIES_MOST] = { { "temp", 22.0, 0.01 },
                                  { "ec", 300.0, 0.5 },
                                  { "ph", 6.8, 0.01 },
                                  { "level", 250.0, 0.1 },
                                  { "orp", 310.0, 0.5 } };

struct flood {
    long count;
    int qos, tanks, quantities;
    double rate;
    long long first_ms, step_ms;
};

struct done {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool came;
};

static void on_done(void *context, const char *topic, const char *payload, int n)
{
    struct done *done = context;
    (void)topic;
    (void)payload;
    if (n == 0)
        return;
    pthread_mutex_lock(&done->lock);
    done->came = true;
    pthread_cond_signal(&done->changed);
    pthread_mutex_unlock(&done->lock);
}

static bool wait_came(struct done *done)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += PATIENCE_S;
    pthread_mutex_lock(&done->lock);
    while (!done->came)
        if (pthread_cond_timedwait(&done->changed, &done->lock, &until) != 0)
            break;
    bool came = done->came;
    pthread_mutex_unlock(&done->lock);
    return came;
}

static void keep_pace(double begin_s, long sent, double rate)
{
    double ahead_s = begin_s + (double)sent / rate - bench_now_s();
    if (ahead_s <= 0)
        return;
    struct timespec nap = { .tv_sec = (time_t)ahead_s,
                            .tv_nsec = (long)((ahead_s - (double)(time_t)ahead_s) * 1e9) };
    nanosleep(&nap, NULL);
}

static void publish_all(struct bench_link *link, const struct flood *f, double begin_s)
{
    char topic[TOPICS_LONG], payload[64];
    int probes = f->tanks * f->quantities;
    for (long i = 0; i < f->count; i++) {
        int probe = (int)(i % probes), q = probe % f->quantities;
        long round = i / probes;
        double value = quantities[q].value + quantities[q].step * (double)(round % 5);
        snprintf(topic, sizeof topic, "bench/t%02d/%s", probe / f->quantities, quantities[q].name);
        int n = snprintf(payload, sizeof payload, "{\"t\":%lld,\"v\":%.2f}", f->first_ms + round * f->step_ms,
                         value);
        if (f->rate > 0)
            keep_pace(begin_s, i, f->rate);
        bench_link_send(link, topic, payload, n, f->qos, IN_FLIGHT);
    }
}

int main(int argc, char **argv)
{
    static struct done done = { .lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER };
    static struct bench_link sender, listener;
    char payload[64];
    if (argc != 11)
        bench_fail(
            "usage: flood PORT COUNT QOS TANKS QUANTITIES RATE FIRST_MS STEP_MS END_TOPIC DONE_FILTER");
    int port = atoi(argv[1]);
    struct flood f = { .count = atol(argv[2]),
                       .qos = atoi(argv[3]),
                       .tanks = atoi(argv[4]),
                       .quantities = atoi(argv[5]),
                       .rate = atof(argv[6]),
                       .first_ms = atoll(argv[7]),
                       .step_ms = atoll(argv[8]) };
    if (f.tanks < 1 || f.quantities < 1 || f.quantities > QUANTITIES_MOST)
        bench_fail("at least one tank, one to five quantities");
    bench_link_open(&listener, port, "bench-done", argv[10], 1, on_done, &done);
    bench_link_open(&sender, port, "bench-flood", NULL, 0, NULL, NULL);
    double begin_s = bench_now_s();
    publish_all(&sender, &f, begin_s);
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    int n = snprintf(payload, sizeof payload, "{\"t\":%lld,\"v\":12.0}",
                     (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000);
    double sent_s = bench_now_s() - begin_s;
    bench_link_send(&sender, argv[9], payload, n, 1, IN_FLIGHT);
    if (!wait_came(&done))
        bench_fail("the end was not seen");
    printf("seconds %.3f sent_s %.3f\n", bench_now_s() - begin_s, sent_s);
    bench_link_close(&sender);
    bench_link_close(&listener);
    return 0;
}
