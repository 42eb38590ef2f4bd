/* Messages of any topic of the configuration, and of others, with any payload, through decoding, judgement,
 * rules and commands. The input: messages divided by 0xff, each a byte for the topic, a byte for flags and
 * time, the payload. */
#include "fuzz.h"

static const char *const topics[] = { "p/a1/temp",
                                      "p/a2/temp",
                                      "p/a1/ph",
                                      "doc/a2",
                                      "gate",
                                      "nobody/at/all",
                                      "p/zz/temp",
                                      "lentic/mill/do/ack",
                                      "lentic/mill/do/shelve",
                                      "lentic/mill/do/note",
                                      "lentic/mill/do/service",
                                      "lentic/mill/do/calibrate",
                                      "lentic/mill/do/out",
                                      "lentic/mill/do/x",
                                      "lentic/mill/do/reset",
                                      "homie/5/mill-a1/alerts/shelve/set" };

static int64_t ms;

static void count_effect(void *context, const struct effect *e)
{
    (void)e;
    ++*(long *)context;
}

static void take_answer(void *context, const struct message *m, const char *json, size_t n)
{
    (void)context;
    (void)m;
    FUZZ_CHECK(strlen(json) == n);
}

static void send(struct pump *pump, const uint8_t *data, size_t n)
{
    if (n < 2)
        return;
    static const int64_t steps_ms[] = { 0, 1000, 60000, 3600000 };
    const char *topic = topics[data[0] % (sizeof topics / sizeof *topics)];
    ms += steps_ms[data[1] & 3];
    struct message m = {
        .topic = topic,
        .topic_len = (uint32_t)strlen(topic),
        .payload = (const char *)data + 2,
        .payload_len = (uint32_t)(n - 2),
        .qos = 1,
        .retain = (data[1] & 4) != 0,
        .now = { { FUZZ_T0 + ms - ((data[1] & 8) != 0 ? 7200000 : 0) }, { ms }, (data[1] & 16) == 0 }
    };
    pump_message(pump, &m);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static struct site *site;
    struct pump pump;
    long effects = 0;
    ms = 1000;
    if (site == NULL)
        site = fuzz_site();
    const struct pump_sinks sinks = { .context = &effects, .effect = count_effect, .answer = take_answer };
    pump_init(&pump, site, &sinks, (struct now){ { FUZZ_T0 + ms }, { ms }, true });
    while (n > 0) {
        const uint8_t *end = memchr(data, 0xff, n);
        size_t length = end != NULL ? (size_t)(end - data) : n;
        send(&pump, data, length);
        data += length + (end != NULL);
        n -= length + (end != NULL);
    }
    pump_advance(&pump, (struct now){ { FUZZ_T0 + ms + 600000 }, { ms + 600000 }, true });
    pump_fini(&pump);
    return 0;
}
