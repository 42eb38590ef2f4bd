/* A hand-over ring with bytes changed anywhere, as a crash or a bad disk leaves it: opened, read to its end,
 * written on. The input: five bytes a change, where (four) and what (one). */
#include "fuzz.h"

#include "adapters/inbox.h"

static uint8_t *sound;
static size_t sound_n;

static struct message message_of(const char *payload)
{
    return (struct message){ .topic = "p/a1/temp",
                             .topic_len = 9,
                             .payload = payload,
                             .payload_len = (uint32_t)strlen(payload),
                             .qos = 1,
                             .now = { { FUZZ_T0 }, { 1000 }, true } };
}

static struct inbox *open_ring(const char *path)
{
    struct inbox *inbox = NULL;
    struct why why;
    FUZZ_CHECK(inbox_open(path, INBOX_BYTES_MIN, STORE_SYNC_WINDOW, &inbox, &why) == STATUS_OK);
    return inbox;
}

/* A ring with some records, a part of them released. */
static void make_sound(void)
{
    char path[128];
    struct message m;
    uint64_t seq;
    snprintf(path, sizeof path, "%s", fuzz_file("ring", "", 0));
    unlink(path);
    struct inbox *inbox = open_ring(path);
    for (int i = 0; i < 40; i++) {
        m = message_of(i % 3 == 0 ? "24.5" : "{\"a rather longer payload\":[1,2,3,4,5,6,7,8,9]}");
        FUZZ_CHECK(inbox_put(inbox, &m, 0) == STATUS_OK);
    }
    for (int i = 0; i < 10; i++)
        FUZZ_CHECK(inbox_next(inbox, &m, &seq) == STATUS_OK);
    inbox_release(inbox, seq);
    inbox_close(inbox);
    FILE *f = fopen(path, "r");
    FUZZ_CHECK(f != NULL);
    sound = malloc(INBOX_BYTES_MIN * 2);
    sound_n = fread(sound, 1, INBOX_BYTES_MIN * 2, f);
    fclose(f);
    unlink(path);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    char path[128], aside[200];
    if (sound == NULL)
        make_sound();
    uint8_t *bytes = malloc(sound_n);
    memcpy(bytes, sound, sound_n);
    for (size_t i = 0; i + 5 <= n; i += 5) {
        uint32_t where;
        memcpy(&where, data + i, sizeof where);
        bytes[where % sound_n] = data[i + 4];
    }
    snprintf(path, sizeof path, "%s", fuzz_file("ring", bytes, sound_n));
    free(bytes);
    struct inbox *inbox = open_ring(path);
    struct message m;
    uint64_t seq, last = 0;
    int count = 0;
    while (inbox_next(inbox, &m, &seq) == STATUS_OK && count < 1000) {
        FUZZ_CHECK(seq > last);
        last = seq;
        volatile char sum = 0;
        for (uint32_t i = 0; i < m.payload_len; i++)
            sum = (char)(sum ^ m.payload[i]);
        for (uint32_t i = 0; i < m.topic_len; i++)
            sum = (char)(sum ^ m.topic[i]);
        count++;
    }
    FUZZ_CHECK(count < 1000);
    m = message_of("25");
    FUZZ_CHECK(inbox_put(inbox, &m, 0) == STATUS_OK);
    inbox_close(inbox);
    unlink(path);
    snprintf(aside, sizeof aside, "rm -f /dev/shm/lentic-fuzz-%ld-ring.damaged-*", (long)getpid());
    static int turns;
    if (++turns % 500 == 0 && system(aside) != 0)
        return 0;
    return 0;
}
