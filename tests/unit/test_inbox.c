#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <dirent.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/inbox.h"

#define RING  ((size_t)128 * 1024)
#define PAGE  4096
#define SYNCS 2

static char dir[32], path[64];
static struct why why;
static const enum store_sync syncs[SYNCS] = { STORE_SYNC_WINDOW, STORE_SYNC_EVERY };

static int make(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/lentic-inbox-XXXXXX");
    if (mkdtemp(dir) == NULL)
        return -1;
    snprintf(path, sizeof path, "%s/ring", dir);
    return 0;
}

static int sweep(void **state)
{
    (void)state;
    DIR *d = opendir(dir);
    struct dirent *e;
    while (d != NULL && (e = readdir(d)) != NULL)
        if (e->d_name[0] != '.')
            unlinkat(dirfd(d), e->d_name, 0);
    closedir(d);
    return rmdir(dir);
}

static struct inbox *open_ring(enum store_sync sync)
{
    struct inbox *inbox = NULL;
    if (inbox_open(path, RING, sync, &inbox, &why) != STATUS_OK)
        fail_msg("%s", why.text);
    return inbox;
}

static struct message text_message(const char *topic, const char *payload)
{
    return (struct message){ .topic = topic,
                             .topic_len = (uint32_t)strlen(topic),
                             .payload = payload,
                             .payload_len = (uint32_t)strlen(payload),
                             .qos = 1,
                             .now = { .utc = { 5000 }, .mono = { 700 }, .trusted = true } };
}

static enum status put_number(struct inbox *inbox, unsigned n, size_t filler)
{
    static char payload[MESSAGE_PAYLOAD_MAX + 1];
    memset(payload, 'x', filler);
    snprintf(payload + filler, sizeof payload - filler, "%u", n);
    struct message m = text_message("probes/a1/temp", payload);
    return inbox_put(inbox, &m, 0);
}

static unsigned number_of(const struct message *m)
{
    char digits[16] = "";
    const char *at = m->payload;
    uint32_t n = m->payload_len;
    while (n > 0 && *at == 'x') {
        at++;
        n--;
    }
    memcpy(digits, at, n < sizeof digits ? n : sizeof digits - 1);
    return (unsigned)strtoul(digits, NULL, 10);
}

static bool rings(const struct inbox *inbox)
{
    struct pollfd p = { .fd = inbox_fd(inbox), .events = POLLIN };
    return poll(&p, 1, 0) == 1;
}

static void assert_bytes(const char *at, uint32_t n, const char *expected)
{
    assert_int_equal(n, strlen(expected));
    assert_memory_equal(at, expected, n);
}

static void a_message_comes_out_as_it_went_in(void **state)
{
    (void)state;
    for (int i = 0; i < SYNCS; i++) {
        struct inbox *inbox = open_ring(syncs[i]);
        struct message in = text_message("rack-b/b2/state", "{\"t\":1}"), out;
        uint64_t seq = 0;
        in.retain = true;
        in.dup = true;
        in.expiry_left_s = 90;
        in.reply_topic = "answers/me";
        in.reply_topic_len = 10;
        in.correlation = "a\0b";
        in.correlation_len = 3;
        assert_false(rings(inbox));
        assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_NONE);
        assert_int_equal(inbox_put(inbox, &in, 0), STATUS_OK);
        assert_true(rings(inbox));
        assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_OK);
        assert_int_equal(seq, i + 1);
        assert_bytes(out.topic, out.topic_len, "rack-b/b2/state");
        assert_bytes(out.payload, out.payload_len, "{\"t\":1}");
        assert_bytes(out.reply_topic, out.reply_topic_len, "answers/me");
        assert_int_equal(out.correlation_len, 3);
        assert_memory_equal(out.correlation, "a\0b", 3);
        assert_true(out.retain && out.dup && out.qos == 1 && out.expiry_left_s == 90 && out.now.trusted);
        assert_int_equal(out.now.utc.ms, 5000);
        assert_int_equal(out.now.mono.ms, 700);
        assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_NONE);
        assert_false(rings(inbox));
        inbox_release(inbox, seq);
        inbox_close(inbox);
    }
}

static void an_empty_payload_and_none_of_the_extras(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    struct message in = text_message("t", ""), out;
    uint64_t seq;
    in.payload = NULL;
    in.now.trusted = false;
    assert_int_equal(inbox_put(inbox, &in, 0), STATUS_OK);
    assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_OK);
    assert_int_equal(out.payload_len, 0);
    assert_null(out.reply_topic);
    assert_null(out.correlation);
    assert_false(out.retain || out.dup || out.now.trusted);
    inbox_close(inbox);
}

static void too_long_is_refused_and_counted(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    static char long_text[MESSAGE_PAYLOAD_MAX + 2];
    memset(long_text, 'y', sizeof long_text - 1);
    struct message m = text_message("t", long_text);
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_INVALID);
    m = text_message("t", "1");
    m.topic = long_text;
    m.topic_len = MESSAGE_TOPIC_MAX + 1;
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_INVALID);
    m.topic_len = MESSAGE_TOPIC_MAX;
    m.correlation = long_text;
    m.correlation_len = INBOX_CORRELATION_MAX + 1;
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_INVALID);
    m.correlation_len = INBOX_CORRELATION_MAX;
    m.payload = long_text;
    m.payload_len = MESSAGE_PAYLOAD_MAX;
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_OK);
    assert_int_equal(inbox_counts(inbox).refused_long, 3);
    assert_int_equal(inbox_counts(inbox).put, 1);
    inbox_close(inbox);
}

static void the_ring_goes_round_many_times(void **state)
{
    (void)state;
    for (int i = 0; i < SYNCS; i++) {
        struct inbox *inbox = open_ring(syncs[i]);
        unsigned rounds = syncs[i] == STORE_SYNC_EVERY ? 200 : 5000, taken = 0;
        struct message m;
        uint64_t seq;
        for (unsigned n = 1; n <= rounds; n++) {
            assert_int_equal(put_number(inbox, n, (n * 997) % 9000), STATUS_OK);
            if (n % 5 != 0)
                continue;
            while (inbox_next(inbox, &m, &seq) == STATUS_OK)
                assert_int_equal(number_of(&m), ++taken);
            inbox_release(inbox, seq);
        }
        assert_int_equal(taken, rounds);
        assert_int_equal(inbox_counts(inbox).damaged, 0);
        assert_int_equal(inbox_counts(inbox).used_bytes, 0);
        inbox_close(inbox);
        assert_int_equal(unlink(path), 0);
    }
}

static unsigned fill(struct inbox *inbox, size_t filler)
{
    unsigned n = 0;
    while (put_number(inbox, n + 1, filler) == STATUS_OK)
        n++;
    return n;
}

static void a_full_ring_refuses_until_released(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    struct message m;
    uint64_t seq;
    unsigned n = fill(inbox, 990);
    assert_in_range(n, RING / 1072 - 2, RING / 1072);
    assert_int_equal(inbox_counts(inbox).refused_full, 1);
    assert_int_equal(inbox_counts(inbox).waiting_records, n);
    assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
    assert_int_equal(put_number(inbox, n + 1, 990), STATUS_FULL); /* read is not yet settled */
    inbox_release(inbox, 1000);                                   /* no more than was read */
    assert_int_equal(put_number(inbox, n + 1, 990), STATUS_OK);
    assert_int_equal(put_number(inbox, n + 2, 990), STATUS_FULL);
    for (unsigned i = 2; i <= n + 1; i++) {
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(number_of(&m), i);
    }
    assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_NONE);
    inbox_close(inbox);
}

static void *release_soon(void *context)
{
    struct inbox *inbox = context;
    struct message m;
    uint64_t seq;
    usleep(50000);
    if (inbox_next(inbox, &m, &seq) == STATUS_OK)
        inbox_release(inbox, seq);
    return NULL;
}

static void a_writer_waits_for_room_but_not_for_ever(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    unsigned n = fill(inbox, 990);
    char payload[1024];
    memset(payload, 'x', sizeof payload);
    snprintf(payload + 990, 24, "%u", n + 1);
    struct message m = text_message("probes/a1/temp", payload);
    assert_int_equal(inbox_put(inbox, &m, 30), STATUS_FULL);
    pthread_t reader;
    assert_int_equal(pthread_create(&reader, NULL, release_soon, inbox), 0);
    assert_int_equal(inbox_put(inbox, &m, 5000), STATUS_OK);
    pthread_join(reader, NULL);
    inbox_close(inbox);
}

static void a_restart_hands_out_what_was_not_released(void **state)
{
    (void)state;
    for (int i = 0; i < SYNCS; i++) {
        struct inbox *inbox = open_ring(syncs[i]);
        struct message m;
        uint64_t seq;
        for (unsigned n = 1; n <= 10; n++)
            assert_int_equal(put_number(inbox, n, 10), STATUS_OK);
        for (unsigned n = 1; n <= 7; n++)
            assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        inbox_release(inbox, 4);
        inbox_close(inbox);
        inbox = open_ring(syncs[i]);
        assert_true(rings(inbox));
        assert_int_equal(inbox_counts(inbox).waiting_records, 6);
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(seq, 5);
        assert_int_equal(number_of(&m), 5);
        inbox_rewind(inbox, 8);
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(seq, 9);
        inbox_rewind(inbox, 2);
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(seq, 5);
        assert_int_equal(put_number(inbox, 11, 10), STATUS_OK);
        assert_int_equal(inbox_counts(inbox).last_seq, 11);
        inbox_close(inbox);
        assert_int_equal(unlink(path), 0);
    }
}

static void numbering_goes_on_after_a_lost_ring(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    struct message m;
    uint64_t seq;
    inbox_rewind(inbox, 50000);
    assert_int_equal(put_number(inbox, 1, 0), STATUS_OK);
    inbox_close(inbox);
    inbox = open_ring(STORE_SYNC_WINDOW);
    inbox_rewind(inbox, 50000);
    assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
    assert_int_equal(seq, 50001);
    assert_int_equal(inbox_counts(inbox).damaged, 0);
    inbox_close(inbox);
}

static void another_size_waits_for_an_empty_ring(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    struct message m;
    uint64_t seq;
    assert_int_equal(put_number(inbox, 1, 0), STATUS_OK);
    inbox_close(inbox);
    assert_int_equal(inbox_open(path, 2 * RING, STORE_SYNC_WINDOW, &inbox, &why), STATUS_OK);
    assert_int_equal(inbox_counts(inbox).size_bytes, RING);
    assert_non_null(strstr(why.text, "keeps its 128 KiB"));
    assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
    inbox_release(inbox, seq);
    inbox_close(inbox);
    assert_int_equal(inbox_open(path, 2 * RING, STORE_SYNC_WINDOW, &inbox, &why), STATUS_OK);
    assert_int_equal(inbox_counts(inbox).size_bytes, 2 * RING);
    assert_string_equal(why.text, "");
    assert_int_equal(put_number(inbox, 2, 0), STATUS_OK);
    assert_int_equal(inbox_counts(inbox).last_seq, 2);
    inbox_close(inbox);
}

static void what_cannot_work_is_refused_plainly(void **state)
{
    (void)state;
    struct inbox *inbox = NULL, *second = NULL;
    assert_int_equal(inbox_open(path, INBOX_BYTES_MIN - 1, STORE_SYNC_WINDOW, &inbox, &why), STATUS_INVALID);
    assert_int_equal(inbox_open("/nowhere/at/all", RING, STORE_SYNC_WINDOW, &inbox, &why), STATUS_IO);
    inbox = open_ring(STORE_SYNC_WINDOW);
    assert_int_equal(inbox_open(path, RING, STORE_SYNC_WINDOW, &second, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, path));
    inbox_close(inbox);
    inbox_close(NULL);
}

static int entries_named(const char *part)
{
    DIR *d = opendir(dir);
    struct dirent *e;
    int n = 0;
    while (d != NULL && (e = readdir(d)) != NULL)
        n += strstr(e->d_name, part) != NULL;
    closedir(d);
    return n;
}

static void a_file_that_is_no_ring_is_set_aside(void **state)
{
    (void)state;
    int fd = open(path, O_WRONLY | O_CREAT, 0600);
    assert_int_equal(write(fd, "rubbish", 7), 7);
    close(fd);
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    assert_non_null(strstr(why.text, ".damaged-"));
    assert_int_equal(entries_named("ring.damaged-"), 1);
    assert_int_equal(put_number(inbox, 1, 0), STATUS_OK);
    inbox_close(inbox);
}

static void flip_byte(long offset, unsigned char mask)
{
    int fd = open(path, O_RDWR);
    unsigned char byte = 0;
    assert_int_equal(pread(fd, &byte, 1, offset), 1);
    byte ^= mask;
    assert_int_equal(pwrite(fd, &byte, 1, offset), 1);
    close(fd);
}

static void a_damaged_record_is_stepped_over_and_counted(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    struct message m;
    uint64_t seq;
    for (unsigned n = 1; n <= 5; n++)
        assert_int_equal(put_number(inbox, n, 1000), STATUS_OK);
    inbox_close(inbox);
    flip_byte(PAGE + 2 * 1080 + 500, 0x10);
    inbox = open_ring(STORE_SYNC_WINDOW);
    for (unsigned n = 1; n <= 5; n++) {
        if (n == 3)
            continue;
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(number_of(&m), n);
    }
    assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_NONE);
    assert_int_equal(inbox_counts(inbox).damaged, 1);
    assert_int_equal(inbox_counts(inbox).last_seq, 5);
    inbox_release(inbox, 5);
    assert_int_equal(inbox_counts(inbox).used_bytes, 0);
    inbox_close(inbox);
}

/* Any damage: nothing crashes, what comes out is in order and was put in, and after it the ring works. */
static void random_damage_never_confuses_it(void **state)
{
    (void)state;
    unsigned random = 12345, came = 0;
    for (int round = 0; round < 60; round++) {
        struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
        struct message m;
        uint64_t seq, last = 0;
        for (unsigned n = 1; n <= 40; n++)
            assert_int_equal(put_number(inbox, n, n * 20), STATUS_OK);
        inbox_close(inbox);
        for (int flips = 0; flips < 1 + round / 3; flips++) {
            random = random * 1103515245 + 12345;
            long span = flips % 4 == 0 ? 160 : 25000;
            flip_byte((span == 160 ? 0 : PAGE) + (long)(random >> 8) % span,
                      (unsigned char)(1 << (random & 7)));
        }
        inbox = open_ring(STORE_SYNC_WINDOW);
        while (inbox_next(inbox, &m, &seq) == STATUS_OK) {
            assert_true(seq > last);
            assert_int_equal(number_of(&m), seq);
            last = seq;
            came++;
        }
        inbox_rewind(inbox, 100);
        assert_int_equal(put_number(inbox, 101, 5), STATUS_OK);
        assert_int_equal(inbox_next(inbox, &m, &seq), STATUS_OK);
        assert_int_equal(seq, 101);
        inbox_close(inbox);
        assert_int_equal(unlink(path), 0);
    }
    assert_true(came > 300);
}

static void child_puts_until_killed(enum store_sync sync, int report, unsigned first)
{
    struct inbox *inbox = NULL;
    if (inbox_open(path, RING, sync, &inbox, NULL) != STATUS_OK)
        _exit(1);
    struct message m;
    uint64_t seq = 0, settled = 0;
    for (unsigned n = first;; n++) {
        if (put_number(inbox, n, (n * 31) % 700) != STATUS_OK)
            _exit(2);
        if (write(report, &n, sizeof n) != (ssize_t)sizeof n)
            _exit(3);
        if (n % 7 != 0)
            continue;
        while (inbox_next(inbox, &m, &seq) == STATUS_OK)
            settled = number_of(&m);
        inbox_release(inbox, seq);
        unsigned mark =
            (unsigned)settled | 0x80000000u; /* told after: the parent knows at least this was settled */
        if (write(report, &mark, sizeof mark) != (ssize_t)sizeof mark)
            _exit(4);
    }
}

static void killed_at_any_moment_nothing_acknowledged_is_lost(void **state)
{
    (void)state;
    unsigned next = 1, random = 99;
    for (int round = 0; round < 40; round++) {
        enum store_sync sync = round % 4 == 3 ? STORE_SYNC_EVERY : STORE_SYNC_WINDOW;
        int ends[2];
        assert_int_equal(pipe(ends), 0);
        pid_t child = fork();
        if (child == 0) {
            close(ends[0]);
            child_puts_until_killed(sync, ends[1], next);
        }
        close(ends[1]);
        random = random * 1103515245 + 12345;
        unsigned after = (random >> 16) % 600, word, acknowledged = next - 1, settled = 0;
        for (unsigned i = 0; read(ends[0], &word, sizeof word) == (ssize_t)sizeof word; i++) {
            if (word & 0x80000000u)
                settled = word & 0x7fffffffu;
            else
                acknowledged = word;
            if (i == after)
                kill(child, SIGKILL);
        }
        int status;
        waitpid(child, &status, 0);
        assert_true(WIFSIGNALED(status));
        close(ends[0]);

        struct inbox *inbox = open_ring(sync);
        assert_string_equal(why.text, "");
        struct message m;
        uint64_t seq = 0;
        unsigned expect = 0, highest = settled;
        while (inbox_next(inbox, &m, &seq) == STATUS_OK) {
            if (expect == 0)
                assert_true(number_of(&m) <= settled + 7 + 1);
            else
                assert_int_equal(number_of(&m), expect);
            expect = number_of(&m) + 1;
            highest = number_of(&m);
        }
        /* All that was released may be gone; a release the child had no time to tell is at most one behind.
         */
        if (expect != 0)
            assert_true(highest >= acknowledged);
        else
            assert_true(inbox_counts(inbox).last_seq >= acknowledged);
        assert_int_equal(inbox_counts(inbox).damaged, 0);
        assert_int_equal(inbox_counts(inbox).last_seq, expect != 0 ? highest : inbox_counts(inbox).last_seq);
        next = (unsigned)inbox_counts(inbox).last_seq + 1;
        inbox_release(inbox, seq);
        inbox_close(inbox);
    }
    assert_true(next > 100);
}

static void stamps_of_an_earlier_boot_are_rebased(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_EVERY);
    struct message m = text_message("t", "1"), out;
    struct timespec wall;
    uint64_t seq;
    clock_gettime(CLOCK_REALTIME, &wall);
    int64_t now_ms = (int64_t)wall.tv_sec * 1000;
    m.now.utc.ms = now_ms - 60000;
    m.now.mono.ms = INT64_C(987654321000); /* a machine that had been up for decades */
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_OK);
    m.now.utc.ms = now_ms + MS_PER_DAY; /* its clock ran ahead */
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_OK);
    inbox_close(inbox);
    flip_byte(24 + 2, 0x01); /* the boot's name */
    for (int restarts = 0; restarts < 2; restarts++) {
        inbox = open_ring(STORE_SYNC_EVERY);
        struct timespec boot;
        clock_gettime(CLOCK_BOOTTIME, &boot);
        int64_t boot_ms = (int64_t)boot.tv_sec * 1000;
        assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_OK);
        assert_in_range(out.now.mono.ms + 100000000, boot_ms - 70000 + 100000000,
                        boot_ms - 50000 + 100000000);
        assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_OK);
        assert_true(out.now.mono.ms <= boot_ms + 1000);
        inbox_close(inbox);
    }
    inbox = open_ring(STORE_SYNC_EVERY);
    m.now.mono.ms = 4242;
    assert_int_equal(inbox_put(inbox, &m, 0), STATUS_OK);
    inbox_rewind(inbox, 2);
    assert_int_equal(inbox_next(inbox, &out, &seq), STATUS_OK);
    assert_int_equal(out.now.mono.ms, 4242);
    inbox_close(inbox);
}

#define HANDED 20000
static void *write_many(void *context)
{
    struct inbox *inbox = context;
    for (unsigned n = 1; n <= HANDED; n++) {
        char payload[64];
        snprintf(payload, sizeof payload, "%u", n);
        struct message m = text_message("probes/a1/temp", payload);
        if (inbox_put(inbox, &m, 10000) != STATUS_OK)
            return (void *)1;
    }
    return NULL;
}

static void two_threads_hand_over_everything_in_order(void **state)
{
    (void)state;
    struct inbox *inbox = open_ring(STORE_SYNC_WINDOW);
    pthread_t writer;
    struct message m;
    uint64_t seq = 0;
    unsigned taken = 0;
    void *failed = NULL;
    assert_int_equal(pthread_create(&writer, NULL, write_many, inbox), 0);
    while (taken < HANDED) {
        struct pollfd p = { .fd = inbox_fd(inbox), .events = POLLIN };
        assert_int_equal(poll(&p, 1, 10000), 1);
        while (inbox_next(inbox, &m, &seq) == STATUS_OK)
            assert_int_equal(number_of(&m), ++taken);
        inbox_release(inbox, seq);
    }
    pthread_join(writer, &failed);
    assert_null(failed);
    inbox_close(inbox);
}

#define WITH_DIR(test) cmocka_unit_test_setup_teardown(test, make, sweep)
int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_DIR(a_message_comes_out_as_it_went_in),
        WITH_DIR(an_empty_payload_and_none_of_the_extras),
        WITH_DIR(too_long_is_refused_and_counted),
        WITH_DIR(the_ring_goes_round_many_times),
        WITH_DIR(a_full_ring_refuses_until_released),
        WITH_DIR(a_writer_waits_for_room_but_not_for_ever),
        WITH_DIR(a_restart_hands_out_what_was_not_released),
        WITH_DIR(numbering_goes_on_after_a_lost_ring),
        WITH_DIR(another_size_waits_for_an_empty_ring),
        WITH_DIR(what_cannot_work_is_refused_plainly),
        WITH_DIR(a_file_that_is_no_ring_is_set_aside),
        WITH_DIR(a_damaged_record_is_stepped_over_and_counted),
        WITH_DIR(random_damage_never_confuses_it),
        WITH_DIR(killed_at_any_moment_nothing_acknowledged_is_lost),
        WITH_DIR(stamps_of_an_earlier_boot_are_rebased),
        WITH_DIR(two_threads_hand_over_everything_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
