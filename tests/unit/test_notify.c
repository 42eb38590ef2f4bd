#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/notify.h"

static struct notify *notify;
static struct notify_result result;
static struct why why;

static mono_t now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_BOOTTIME, &t);
    return (mono_t){ (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000 };
}

static int open_descriptors(void)
{
    DIR *d = opendir("/proc/self/fd");
    int n = 0;
    while (readdir(d) != NULL)
        n++;
    closedir(d);
    return n;
}

static int descriptors_before;
static int make(void **state)
{
    (void)state;
    descriptors_before = open_descriptors();
    return notify_open(&notify, &why) == STATUS_OK ? 0 : -1;
}

static int sweep(void **state)
{
    (void)state;
    notify_close(notify);
    bool no_zombie = waitpid(-1, NULL, WNOHANG) == -1 && errno == ECHILD;
    return open_descriptors() == descriptors_before && no_zombie ? 0 : -1;
}

static enum status start(const char *script, const char *input, int timeout_s)
{
    static const char *variables[] = { "LENTIC_REF=tank/a1/temp-low", "HOME=/secret" };
    const char *command[] = { "/bin/sh", "-c", script, "sh", "two words", NULL };
    struct notify_job job = { .id = 42,
                              .command = command,
                              .timeout_s = timeout_s,
                              .input = input,
                              .input_len = strlen(input),
                              .variables = variables,
                              .variable_count = 2 };
    return notify_start(notify, &job, now(), &why);
}

static void wait_for_result(void)
{
    for (int i = 0; i < 1000 && notify_busy(notify); i++) {
        struct pollfd p = { .fd = notify_fd(notify), .events = POLLIN };
        int64_t left = notify_deadline(notify).ms - now().ms;
        poll(&p, 1, left < 0 ? 0 : left > 1000 ? 1000 : (int)left);
        notify_advance(notify, now());
    }
    assert_true(notify_take_result(notify, &result));
    assert_false(notify_take_result(notify, &result));
}

static void the_message_is_on_standard_input(void **state)
{
    (void)state;
    assert_int_equal(start("cat; echo \" $1\"", "{\"id\":1}", 5), STATUS_OK);
    assert_true(notify_busy(notify));
    assert_int_equal(start("true", "", 5), STATUS_FULL);
    wait_for_result();
    assert_int_equal(result.id, 42);
    assert_true(result.delivered);
    assert_string_equal(result.text, "exit code 0: {\"id\":1} two words");
}

static void a_command_that_does_not_read_harms_nobody(void **state)
{
    (void)state;
    static char big[300000];
    memset(big, 'x', sizeof big - 1);
    assert_int_equal(start("exit 0", big, 5), STATUS_OK);
    wait_for_result();
    assert_true(result.delivered);
    assert_string_equal(result.text, "exit code 0");
}

static void failure_is_told_with_what_it_said(void **state)
{
    (void)state;
    assert_int_equal(start("echo no route >&2; exit 7", "", 5), STATUS_OK);
    wait_for_result();
    assert_false(result.delivered);
    assert_int_equal(result.exit_code, 7);
    assert_string_equal(result.text, "exit code 7: no route");
    assert_int_equal(start("kill -9 $$", "", 5), STATUS_OK);
    wait_for_result();
    assert_string_equal(result.text, "ended by signal 9");
}

static void the_environment_is_clean(void **state)
{
    (void)state;
    setenv("LENTIC_PASSWORD", "hush", 1);
    setenv("CREDENTIALS_DIRECTORY", "/secret", 1);
    setenv("LANG", "C.UTF-8", 1);
    assert_int_equal(
        start("env | cut -d= -f1 | grep -v -e '^_$' -e '^PWD$' -e SHLVL -e OLDPWD | sort; pwd", "", 5),
        STATUS_OK);
    wait_for_result();
    assert_string_equal(result.text, "exit code 0: LANG LENTIC_REF PATH /");
    unsetenv("CREDENTIALS_DIRECTORY");
}

static void no_descriptor_of_ours_reaches_it(void **state)
{
    (void)state;
    int leaky = open("/dev/null", O_RDONLY); /* not close-on-exec, as libraries do */
    assert_int_equal(start("ls /proc/$$/fd", "", 5), STATUS_OK);
    wait_for_result();
    close(leaky);
    assert_string_equal(result.text, "exit code 0: 0 1 2");
}

static void signals_work_in_it(void **state)
{
    (void)state;
    sigset_t blocked, before;
    sigfillset(&blocked);
    sigprocmask(SIG_BLOCK, &blocked, &before);
    signal(SIGPIPE, SIG_IGN);
    assert_int_equal(start("grep -E 'Sig(Blk|Ign)' /proc/self/status | tr -d '\\t'", "", 5), STATUS_OK);
    wait_for_result();
    signal(SIGPIPE, SIG_DFL);
    sigprocmask(SIG_SETMASK, &before, NULL);
    char *ignored = strstr(result.text, "SigIgn:");
    assert_non_null(strstr(result.text, "SigBlk:0000000000000000 "));
    assert_non_null(ignored);
    assert_int_equal(strtoull(ignored + 7, NULL, 16) & 0x7fffffff, 0); /* above: the C library's own */
}

static void much_output_is_cut_and_nobody_waits(void **state)
{
    (void)state;
    assert_int_equal(start("head -c 3000000 /dev/zero | tr '\\0' '\\033'", "", 20), STATUS_OK);
    wait_for_result();
    assert_true(result.delivered);
    assert_int_equal(strlen(result.text), strlen("exit code 0: ") + NOTIFY_OUTPUT_MAX);
    assert_null(strchr(result.text, '\033'));
}

static void when_time_is_up_the_whole_group_ends(void **state)
{
    (void)state;
    char pids[128];
    assert_int_equal(start("trap '' TERM; sleep 60 & echo $! $$; wait; sleep 60", "", 1), STATUS_OK);
    int64_t began = now().ms;
    wait_for_result();
    assert_in_range(now().ms - began, 900, 6000);
    assert_true(result.timed_out);
    assert_false(result.delivered);
    assert_non_null(strstr(result.text, "not done in 1 s"));
    snprintf(pids, sizeof pids, "%s", strchr(result.text, ':') + 1);
    long sleeper = strtol(pids, NULL, 10);
    assert_true(sleeper > 1);
    for (int i = 0; i < 50; i++) { /* its last parent reaps it */
        char path[64], stat[128] = "";
        snprintf(path, sizeof path, "/proc/%ld/stat", sleeper);
        FILE *f = fopen(path, "r");
        if (f == NULL)
            return;
        if (fgets(stat, sizeof stat, f) == NULL)
            stat[0] = '\0';
        fclose(f);
        if (strstr(stat, ") Z") != NULL || stat[0] == '\0')
            return;
        usleep(20000);
    }
    fail_msg("the child of the command lives on");
}

static void a_command_that_is_not_there_is_told(void **state)
{
    (void)state;
    const char *command[] = { "/no/such/program", NULL };
    struct notify_job job = { .command = command, .timeout_s = 1, .input = "" };
    assert_int_equal(notify_start(notify, &job, now(), &why), STATUS_IO);
    assert_non_null(strstr(why.text, "/no/such/program"));
    assert_non_null(strstr(why.text, "No such file"));
    assert_false(notify_busy(notify));
    job.command = NULL;
    assert_int_equal(notify_start(notify, &job, now(), &why), STATUS_INVALID);
}

static void closing_ends_what_runs(void **state)
{
    (void)state;
    assert_int_equal(start("sleep 60", "", 100), STATUS_OK);
    int64_t began = now().ms;
    notify_close(notify);
    assert_true(now().ms - began < 5000);
    assert_int_equal(notify_open(&notify, &why), STATUS_OK);
    notify_advance(notify, now());
    assert_int_equal(notify_deadline(notify).ms, MONO_NEVER.ms);
}

#define WITH_NOTIFY(test) cmocka_unit_test_setup_teardown(test, make, sweep)
int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_NOTIFY(the_message_is_on_standard_input),
        WITH_NOTIFY(a_command_that_does_not_read_harms_nobody),
        WITH_NOTIFY(failure_is_told_with_what_it_said),
        WITH_NOTIFY(the_environment_is_clean),
        WITH_NOTIFY(no_descriptor_of_ours_reaches_it),
        WITH_NOTIFY(signals_work_in_it),
        WITH_NOTIFY(much_output_is_cut_and_nobody_waits),
        WITH_NOTIFY(when_time_is_up_the_whole_group_ends),
        WITH_NOTIFY(a_command_that_is_not_there_is_told),
        WITH_NOTIFY(closing_ends_what_runs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
