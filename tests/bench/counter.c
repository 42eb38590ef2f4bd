/* The yardstick: a subscriber that only counts.
 * usage: counter PORT FILTER QOS END_TOPIC DONE_TOPIC
 * Counts until a message on END_TOPIC comes, says so on DONE_TOPIC, prints: messages, processor seconds since
 * the subscription. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "link.h"

struct count {
    const char *end_topic;
    long messages;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool ended;
};

static void on_message(void *context, const char *topic, const char *payload, int n)
{
    struct count *count = context;
    (void)payload;
    (void)n;
    count->messages++;
    if (strcmp(topic, count->end_topic) != 0)
        return;
    pthread_mutex_lock(&count->lock);
    count->ended = true;
    pthread_cond_signal(&count->changed);
    pthread_mutex_unlock(&count->lock);
}

int main(int argc, char **argv)
{
    static struct count count = { .lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER };
    struct bench_link link;
    if (argc != 6)
        bench_fail("usage: counter PORT FILTER QOS END_TOPIC DONE_TOPIC");
    count.end_topic = argv[4];
    bench_link_open(&link, atoi(argv[1]), "bench-counter", argv[2], atoi(argv[3]), on_message, &count);
    double cpu = bench_cpu_s();
    puts("ready");
    fflush(stdout);
    pthread_mutex_lock(&count.lock);
    while (!count.ended)
        pthread_cond_wait(&count.changed, &count.lock);
    pthread_mutex_unlock(&count.lock);
    cpu = bench_cpu_s() - cpu;
    bench_link_send(&link, argv[5], "1", 1, 1, 10);
    printf("messages %ld cpu_s %.3f\n", count.messages - 1, cpu);
    bench_link_close(&link);
    return 0;
}
