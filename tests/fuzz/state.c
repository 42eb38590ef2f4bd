/* A saved state with bytes changed anywhere, or any bytes at all: taken up as far as it can be, and the
 * engine works on. The input: a byte, even for changes as in ring.c, odd for the state itself. */
#include "fuzz.h"

#include "engine/engine.h"

static struct site *site;
static uint8_t *sound;
static size_t sound_n;

static void say(struct pump *pump, const char *topic, const char *payload, int64_t ms)
{
    const struct message m = { .topic = topic,
                               .topic_len = (uint32_t)strlen(topic),
                               .payload = payload,
                               .payload_len = (uint32_t)strlen(payload),
                               .qos = 1,
                               .now = { { FUZZ_T0 + ms }, { ms }, true } };
    pump_message(pump, &m);
}

/* Two hours of a room in which something is wrong and somebody answered. */
static void make_sound(void)
{
    struct pump pump;
    const struct pump_sinks sinks = { .context = NULL };
    site = fuzz_site();
    pump_init(&pump, site, &sinks, (struct now){ { FUZZ_T0 }, { 0 }, true });
    for (int i = 0; i < 120; i++) {
        char value[16];
        snprintf(value, sizeof value, "%.2f", 22.0 - i * 0.03);
        say(&pump, "p/a1/temp", value, i * INT64_C(60000));
        say(&pump, "doc/a2", "{\"w\":{\"ec\":0.4}}", i * INT64_C(60000) + 10);
    }
    say(&pump, "lentic/mill/do/ack", "{\"place\":\"tank/a1\",\"kind\":\"temp-low\"}", 7200000);
    say(&pump, "lentic/mill/do/service", "{\"place\":\"tank/a2\",\"minutes\":30}", 7200000);
    size_t room = engine_save_room(pump.engine);
    sound = malloc(room);
    sound_n = engine_save(pump.engine, sound, room, (struct now){ { FUZZ_T0 + 7200000 }, { 7200000 }, true });
    FUZZ_CHECK(sound_n > 0);
    pump_fini(&pump);
}

static size_t change(uint8_t *bytes, const uint8_t *data, size_t n)
{
    memcpy(bytes, sound, sound_n);
    for (size_t i = 0; i + 5 <= n; i += 5) {
        uint32_t where;
        memcpy(&where, data + i, sizeof where);
        bytes[where % sound_n] = data[i + 4];
    }
    return sound_n;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct pump pump;
    const struct pump_sinks sinks = { .context = NULL };
    const struct now now = { { FUZZ_T0 + 7260000 }, { 7260000 }, true };
    if (sound == NULL)
        make_sound();
    if (n == 0)
        return 0;
    bool whole = (data[0] & 1) != 0;
    uint8_t *bytes = malloc(whole ? n : sound_n);
    size_t length = n - 1;
    if (whole)
        memcpy(bytes, data + 1, n - 1);
    else
        length = change(bytes, data + 1, n - 1);
    pump_init(&pump, site, &sinks, now);
    (void)engine_restore(pump.engine, bytes, length, now);
    free(bytes);
    for (int i = 0; i < 5; i++) {
        say(&pump, "p/a1/temp", "21.5", 7260000 + i * INT64_C(60000));
        say(&pump, "doc/a2", "{\"w\":{\"ec\":0.41}}", 7260000 + i * INT64_C(60000));
    }
    pump_advance(&pump, (struct now){ { FUZZ_T0 + 9000000 }, { 9000000 }, true });
    size_t room = engine_save_room(pump.engine);
    uint8_t *again = malloc(room);
    FUZZ_CHECK(
        engine_save(pump.engine, again, room, (struct now){ { FUZZ_T0 + 9000000 }, { 9000000 }, true }) > 0);
    free(again);
    pump_fini(&pump);
    return 0;
}
