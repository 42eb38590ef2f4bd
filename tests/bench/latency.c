/* How long from a reading to its alert, beside the broker's plain echo, one after the other in one go.
 * usage: latency PORT ROUNDS PAUSE_MS BASE
 * Publishes to bench/lNN/temp in turn, low and well, and waits for BASE/alert/tank/lNN/temp-low; then to
 * bench-echo, and waits for that. Prints median, 99th and 99.9th percentile and worst of both in
 * milliseconds. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "link.h"

#define ROUNDS_MOST 20000 /* a multiple of twice TANKS */
#define TANKS       20
#define PATIENCE_S  5

struct ear {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    char wanted[128];
    double came_s; /* 0: not yet */
};

static void on_message(void *context, const char *topic, const char *payload, int n)
{
    double now_s = bench_now_s();
    struct ear *ear = context;
    (void)payload;
    (void)n;
    pthread_mutex_lock(&ear->lock);
    if (ear->came_s == 0 && strcmp(topic, ear->wanted) == 0) {
        ear->came_s = now_s;
        pthread_cond_signal(&ear->changed);
    }
    pthread_mutex_unlock(&ear->lock);
}

/* Milliseconds from just before sending to arrival. */
static double once(struct ear *ear, struct bench_link *sender, const char *topic, const char *payload,
                   const char *wanted)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += PATIENCE_S;
    pthread_mutex_lock(&ear->lock);
    snprintf(ear->wanted, sizeof ear->wanted, "%s", wanted);
    ear->came_s = 0;
    pthread_mutex_unlock(&ear->lock);
    double begin_s = bench_now_s();
    bench_link_send(sender, topic, payload, (int)strlen(payload), 1, 10);
    pthread_mutex_lock(&ear->lock);
    while (ear->came_s == 0)
        if (pthread_cond_timedwait(&ear->changed, &ear->lock, &until) != 0)
            bench_fail("nothing came back");
    double ms = (ear->came_s - begin_s) * 1000;
    pthread_mutex_unlock(&ear->lock);
    return ms;
}

static void pause_ms(int ms)
{
    struct timespec nap = { .tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000L };
    nanosleep(&nap, NULL);
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void print(const char *name, double *ms, int n)
{
    qsort(ms, (size_t)n, sizeof *ms, compare);
    printf("%s p50 %.3f p99 %.3f p999 %.3f worst %.3f\n", name, ms[n / 2], ms[n * 99 / 100],
           ms[n * 999 / 1000], ms[n - 1]);
}

int main(int argc, char **argv)
{
    static struct ear ear = { .lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER };
    static struct bench_link sender, listener, echo;
    static double alert_ms[ROUNDS_MOST], echo_ms[ROUNDS_MOST];
    char filter[128], topic[64], wanted[128], payload[64];
    if (argc != 5)
        bench_fail("usage: latency PORT ROUNDS PAUSE_MS BASE");
    int port = atoi(argv[1]), rounds = atoi(argv[2]), gap_ms = atoi(argv[3]);
    if (rounds < 1 || rounds > ROUNDS_MOST)
        bench_fail("1 to 20000 rounds");
    rounds = (rounds + 2 * TANKS - 1) / (2 * TANKS) * (2 * TANKS); /* all are well again at the end */
    snprintf(filter, sizeof filter, "%s/alert/#", argv[4]);
    bench_link_open(&listener, port, "bench-ear", filter, 0, on_message, &ear);
    bench_link_open(&echo, port, "bench-echo", "bench-echo", 0, on_message, &ear);
    bench_link_open(&sender, port, "bench-sender", NULL, 0, NULL, NULL);
    for (int i = 0; i < rounds; i++) {
        int tank = i % TANKS;
        bool low = i / TANKS % 2 == 0;
        snprintf(topic, sizeof topic, "bench/l%02d/temp", tank);
        snprintf(wanted, sizeof wanted, "%s/alert/tank/l%02d/temp-low", argv[4], tank);
        struct timespec t;
        clock_gettime(CLOCK_REALTIME, &t);
        snprintf(payload, sizeof payload, "{\"t\":%lld,\"v\":%s}",
                 (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000, low ? "18.0" : "22.0");
        alert_ms[i] = once(&ear, &sender, topic, payload, wanted);
        pause_ms(gap_ms);
        echo_ms[i] = once(&ear, &sender, "bench-echo", payload, "bench-echo");
        pause_ms(gap_ms);
    }
    print("alert", alert_ms, rounds);
    print("echo", echo_ms, rounds);
    bench_link_close(&sender);
    bench_link_close(&listener);
    bench_link_close(&echo);
    return 0;
}
