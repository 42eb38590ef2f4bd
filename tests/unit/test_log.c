#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/log.h"

static FILE *captured;
static int real_stderr;
static char seen[8192];

static int capture(void **state)
{
    (void)state;
    captured = tmpfile();
    real_stderr = dup(STDERR_FILENO);
    dup2(fileno(captured), STDERR_FILENO);
    unsetenv("JOURNAL_STREAM");
    log_open(LOG_AT_INFO);
    return 0;
}

static int release(void **state)
{
    (void)state;
    dup2(real_stderr, STDERR_FILENO);
    close(real_stderr);
    fclose(captured);
    return 0;
}

static const char *lines(void)
{
    rewind(captured);
    size_t n = fread(seen, 1, sizeof seen - 1, captured);
    seen[n] = '\0';
    return seen;
}

static void a_line_is_plain_without_the_journal(void **state)
{
    (void)state;
    log_say(LOG_AT_ERROR, "store: %d left", 3);
    log_say(LOG_AT_DEBUG, "not wanted");
    assert_string_equal(lines(), "store: 3 left\n");
}

static void the_journal_gets_priorities(void **state)
{
    (void)state;
    struct stat st;
    char stream[64];
    assert_int_equal(fstat(STDERR_FILENO, &st), 0);
    snprintf(stream, sizeof stream, "%lu:%lu", (unsigned long)st.st_dev, (unsigned long)st.st_ino);
    setenv("JOURNAL_STREAM", stream, 1);
    log_open(LOG_AT_DEBUG);
    log_say(LOG_AT_ERROR, "a");
    log_say(LOG_AT_DEBUG, "b");
    assert_string_equal(lines(), "<3>a\n<7>b\n");
    unsetenv("JOURNAL_STREAM");
}

static void a_journal_of_another_program_is_not_ours(void **state)
{
    (void)state;
    setenv("JOURNAL_STREAM", "1:1", 1);
    log_open(LOG_AT_INFO);
    log_say(LOG_AT_ERROR, "a");
    assert_string_equal(lines(), "a\n");
    unsetenv("JOURNAL_STREAM");
}

static void what_came_from_outside_cannot_forge_lines(void **state)
{
    (void)state;
    log_say(LOG_AT_INFO, "topic %s", "a\nb\x1b[2Jc\x7f\xff\xc3\xa9\xc2\x9b");
    assert_string_equal(lines(), "topic a?b?[2Jc??\xc3\xa9??\n");
}

static void a_long_line_is_cut(void **state)
{
    (void)state;
    char text[3000];
    memset(text, 'x', sizeof text);
    text[sizeof text - 1] = '\0';
    log_say(LOG_AT_INFO, "%s", text);
    assert_int_equal(strlen(lines()), LOG_LINE_MAX);
    assert_non_null(strstr(seen, "x...\n"));
}

static void a_repeated_error_is_one_line_and_its_end_is_told(void **state)
{
    (void)state;
    log_over(LOG_AT_NOTICE, "disk", "disk is well");
    for (int i = 0; i < 1000; i++)
        log_change(LOG_AT_ERROR, "disk", "disk is full");
    assert_string_equal(lines(), "disk is full\n");
    log_over(LOG_AT_NOTICE, "disk", "disk is well");
    assert_string_equal(lines(), "disk is full\ndisk is well (999 more like it not logged)\n");
    log_over(LOG_AT_NOTICE, "disk", "disk is well");
    assert_non_null(lines());
    assert_int_equal(strlen(seen), strlen("disk is full\ndisk is well (999 more like it not logged)\n"));
}

static void changes_and_hours_are_told_with_the_count(void **state)
{
    (void)state;
    static struct log_memory memory;
    uint32_t withheld = 7;
    mono_t t = { 1000 };
    assert_true(log_memory_admit(&memory, "link", "down", t, &withheld));
    assert_int_equal(withheld, 0);
    assert_false(log_memory_admit(&memory, "link", "refused", mono_add(t, 100), &withheld));
    assert_true(log_memory_admit(&memory, "link", "refused", mono_add(t, LOG_CHANGE_MS), &withheld));
    assert_int_equal(withheld, 1);
    t = mono_add(t, LOG_CHANGE_MS);
    for (int i = 1; i < 10; i++)
        assert_false(log_memory_admit(&memory, "link", "refused", mono_add(t, i * MS_PER_MIN), &withheld));
    assert_true(log_memory_admit(&memory, "link", "refused", mono_add(t, LOG_REPEAT_MS), &withheld));
    assert_int_equal(withheld, 9);
    assert_true(log_memory_admit(&memory, "other", "refused", mono_add(t, LOG_REPEAT_MS), &withheld));
}

static void the_table_is_bounded_the_oldest_key_gives_way(void **state)
{
    (void)state;
    static struct log_memory memory;
    uint32_t withheld;
    char key[16];
    for (int i = 0; i < LOG_KEYS + 1; i++) {
        snprintf(key, sizeof key, "k%d", i);
        assert_true(log_memory_admit(&memory, key, "x", (mono_t){ 100 + i }, &withheld));
    }
    assert_false(log_memory_forget(&memory, "k0", &withheld));
    assert_true(log_memory_forget(&memory, "k1", &withheld));
    assert_false(log_memory_admit(&memory, "k2", "x", (mono_t){ 300 }, &withheld));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_line_is_plain_without_the_journal, capture, release),
        cmocka_unit_test_setup_teardown(the_journal_gets_priorities, capture, release),
        cmocka_unit_test_setup_teardown(a_journal_of_another_program_is_not_ours, capture, release),
        cmocka_unit_test_setup_teardown(what_came_from_outside_cannot_forge_lines, capture, release),
        cmocka_unit_test_setup_teardown(a_long_line_is_cut, capture, release),
        cmocka_unit_test_setup_teardown(a_repeated_error_is_one_line_and_its_end_is_told, capture, release),
        cmocka_unit_test(changes_and_hours_are_told_with_the_count),
        cmocka_unit_test(the_table_is_bounded_the_oldest_key_gives_way),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
