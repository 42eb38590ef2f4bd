#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/inbox_file.h"

#define RING ((size_t)64 * 1024)
#define PAGE 4096

static char dir[32], path[64];
static struct why why;

static int make(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/lentic-ring-XXXXXX");
    if (mkdtemp(dir) == NULL)
        return -1;
    snprintf(path, sizeof path, "%s/ring", dir);
    return 0;
}

static int sweep(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(dir);
}

static struct inbox_file open_file(void)
{
    struct inbox_file file;
    if (inbox_file_open(path, RING, STORE_SYNC_WINDOW, &file, &why) != STATUS_OK)
        fail_msg("%s", why.text);
    return file;
}

static uint64_t write_record(struct inbox_file *file, uint64_t pos, uint64_t seq, const char *payload)
{
    static uint8_t bytes[INBOX_RECORD_MAX];
    struct inbox_record r = { .seq = seq, .qos = 1, .payload_len = (uint32_t)strlen(payload) };
    memcpy(bytes + sizeof r, payload, r.payload_len);
    assert_true(inbox_file_measure(&r));
    assert_true(inbox_file_write(file, pos, &r, bytes));
    return pos + r.len;
}

static void the_file_has_all_its_room_from_the_start(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    struct stat st;
    assert_int_equal(fstat(file.fd, &st), 0);
    assert_int_equal(st.st_size, RING + PAGE);
    assert_true((size_t)st.st_blocks * 512 >= RING + PAGE);
    assert_int_equal(st.st_mode & 0777, 0600);
    inbox_file_close(&file);
    inbox_file_close(&file);
}

static void a_payload_cannot_imitate_a_record(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    struct inbox_record r;
    bool skipped;
    uint64_t pos = 0;
    write_record(&file, 0, 1, "ab");
    file.salt++; /* a record as one would forge it, not knowing the salt */
    assert_false(inbox_file_find(&file, &pos, RING, 0, &r, &skipped));
    inbox_file_close(&file);
}

static void records_are_found_by_number_past_rubbish(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    struct inbox_record r;
    bool skipped = true;
    uint64_t second = write_record(&file, 0, 7, "first");
    uint64_t third = write_record(&file, second, 8, "second");
    write_record(&file, third, 3, "of an earlier round");
    uint64_t pos = 0;
    assert_true(inbox_file_find(&file, &pos, RING, 6, &r, &skipped));
    assert_true(pos == 0 && r.seq == 7 && !skipped);
    *inbox_file_place(&file, 66) ^= 1;
    *inbox_file_place(&file, 8) ^= 1;
    assert_true(inbox_file_find(&file, &pos, RING, 6, &r, &skipped));
    assert_true(pos == second && r.seq == 8 && skipped);
    assert_false(inbox_file_find(&file, &pos, second + 8, 6, &r, &skipped));
    pos = third;
    assert_false(inbox_file_find(&file, &pos, RING, 8, &r, &skipped));
    inbox_file_close(&file);
}

static void the_later_sound_mark_counts(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    assert_int_equal(inbox_file_released(&file).seq, 0);
    assert_true(inbox_file_release(&file, (struct inbox_mark){ 80, 1 }));
    assert_true(inbox_file_release(&file, (struct inbox_mark){ 160, 2 }));
    assert_int_equal(inbox_file_released(&file).seq, 2);
    inbox_file_close(&file);
    file = open_file();
    assert_int_equal(inbox_file_released(&file).seq, 2);
    for (size_t at = 64; at < 400; at++) { /* one mark is lost: the one before still stands */
        uint8_t *byte = file.map + at, old = *byte;
        *byte ^= 0xff;
        assert_in_range(inbox_file_released(&file).seq, 1, 2);
        *byte = old;
    }
    inbox_file_close(&file);
}

static void without_marks_the_oldest_record_is_the_start(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    uint64_t next = write_record(&file, 800, 41, "a");
    write_record(&file, next, 42, "b");
    write_record(&file, 80, 43, "c");
    assert_int_equal(inbox_file_released(&file).pos, 800);
    assert_int_equal(inbox_file_released(&file).seq, 40);
    inbox_file_close(&file);
}

static void the_boot_is_marked_once(void **state)
{
    (void)state;
    struct inbox_file file = open_file();
    uint64_t until = 99;
    assert_true(inbox_file_mark_boot(&file, 5, &until));
    assert_int_equal(until, 5);
    assert_true(inbox_file_mark_boot(&file, 12, &until));
    assert_int_equal(until, 5);
    inbox_file_close(&file);
}

static void parts_longer_than_allowed_are_not_measured(void **state)
{
    (void)state;
    struct inbox_record r = { .topic_len = MESSAGE_TOPIC_MAX + 1 };
    assert_false(inbox_file_measure(&r));
    r = (struct inbox_record){ .payload_len = UINT32_MAX };
    assert_false(inbox_file_measure(&r));
    r = (struct inbox_record){ .topic_len = 3, .payload_len = 6 };
    assert_true(inbox_file_measure(&r));
    assert_int_equal(r.len, (sizeof r + 9 + 7) / 8 * 8);
}

#define WITH_DIR(test) cmocka_unit_test_setup_teardown(test, make, sweep)
int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_DIR(the_file_has_all_its_room_from_the_start),     WITH_DIR(a_payload_cannot_imitate_a_record),
        WITH_DIR(records_are_found_by_number_past_rubbish),     WITH_DIR(the_later_sound_mark_counts),
        WITH_DIR(without_marks_the_oldest_record_is_the_start), WITH_DIR(the_boot_is_marked_once),
        WITH_DIR(parts_longer_than_allowed_are_not_measured),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
