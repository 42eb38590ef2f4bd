/* Commands with any payload in a room in which something is wrong: each is answered once (clearing a retained
 * one asks for nothing), with a document that is read as one and a sentence in it, and what stands after them
 * is saved and restored. The input: payloads divided by 0xff, each with a byte for the verb and one for time
 * and flags before it. */
#include "fuzz.h"

#include "wire/json.h"

static int64_t ms;
static int answers;

static void take_answer(void *context, const struct message *m, const char *json, size_t n)
{
    (void)context;
    (void)m;
    struct json_doc doc;
    struct why why;
    FUZZ_CHECK(strlen(json) == n);
    FUZZ_CHECK(json_doc_parse(json, n, &doc, &why) == STATUS_OK);
    struct json_item ok = json_doc_at(&doc, "/ok"), text = json_doc_at(&doc, "/text");
    FUZZ_CHECK(ok.kind == JSON_KIND_BOOL && text.kind == JSON_KIND_TEXT);
    FUZZ_CHECK(ok.number > 0 || text.text_len > 0);
    json_doc_fini(&doc);
    answers++;
}

static void say(struct pump *pump, const char *topic, const void *payload, size_t n, bool retain)
{
    const struct message m = { .topic = topic,
                               .topic_len = (uint32_t)strlen(topic),
                               .payload = payload,
                               .payload_len = (uint32_t)n,
                               .qos = 1,
                               .retain = retain,
                               .now = { { FUZZ_T0 + ms }, { ms }, true } };
    pump_message(pump, &m);
}

/* Both tanks measured, a1 too cold. */
static void begin(struct pump *pump, struct site *site, const struct pump_sinks *sinks)
{
    ms = 1000;
    pump_init(pump, site, sinks, (struct now){ { FUZZ_T0 + ms }, { ms }, true });
    for (int i = 0; i < 15; i++) {
        ms += 60000;
        say(pump, "p/a1/temp", "18.5", 4, false);
        say(pump, "p/a1/ph", "6,6", 3, false);
        say(pump, "doc/a2", "{\"w\":{\"ec\":0.4}}", 16, false);
    }
}

static void command(struct pump *pump, const uint8_t *data, size_t n)
{
    static const int64_t steps_ms[] = { 0, 1000, 60000, 3600000 };
    char topic[64];
    if (n < 2)
        return;
    unsigned verb = data[0] % (COMMAND_COUNT + 1);
    snprintf(topic, sizeof topic, "lentic/mill/do/%s", verb < COMMAND_COUNT ? command_name(verb) : "nothing");
    ms += steps_ms[data[1] & 3];
    answers = 0;
    bool retained = (data[1] & 4) != 0, clears = retained && n == 2;
    say(pump, topic, data + 2, n - 2, retained);
    FUZZ_CHECK(answers == !clears);
}

static void save_and_restore(struct pump *pump, struct site *site, const struct pump_sinks *sinks)
{
    const struct now now = { { FUZZ_T0 + ms }, { ms }, true };
    size_t room = engine_save_room(pump->engine);
    uint8_t *bytes = malloc(room);
    size_t n = engine_save(pump->engine, bytes, room, now);
    FUZZ_CHECK(n > 0);
    pump_fini(pump);
    pump_init(pump, site, sinks, now);
    FUZZ_CHECK(engine_restore(pump->engine, bytes, n, now) > 0);
    uint8_t *again = malloc(room);
    FUZZ_CHECK(engine_save(pump->engine, again, room, now) == n && memcmp(again, bytes, n) == 0);
    free(again);
    free(bytes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static struct site *site;
    static struct pump pump;
    if (site == NULL)
        site = fuzz_site();
    const struct pump_sinks sinks = { .answer = take_answer };
    begin(&pump, site, &sinks);
    while (n > 0) {
        const uint8_t *end = memchr(data, 0xff, n);
        size_t length = end != NULL ? (size_t)(end - data) : n;
        command(&pump, data, length);
        data += length + (end != NULL);
        n -= length + (end != NULL);
    }
    save_and_restore(&pump, site, &sinks);
    ms += 600000;
    pump_advance(&pump, (struct now){ { FUZZ_T0 + ms }, { ms }, true });
    pump_fini(&pump);
    return 0;
}
