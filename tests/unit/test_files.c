#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/files.h"

static char dir[] = "/tmp/lentic-files-XXXXXX";
static char path[256];
static struct why why;

static const char *in_dir(const char *name)
{
    snprintf(path, sizeof path, "%s/%s", dir, name);
    return path;
}

static void put(const char *name, const void *bytes, size_t n, mode_t mode)
{
    int fd = open(in_dir(name), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, bytes, n), n);
    assert_int_equal(fchmod(fd, mode), 0);
    close(fd);
}

static int make(void **state)
{
    (void)state;
    unsetenv("CREDENTIALS_DIRECTORY");
    return mkdtemp(dir) == NULL;
}

static int sweep(void **state)
{
    (void)state;
    static const char *const names[] = { "s", "open", "bad", "w", "lock", "a/b/c", "a/b", "a", "f" };
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        remove(in_dir(names[i]));
    return rmdir(dir);
}

static void a_secret_is_read_without_its_newline(void **state)
{
    (void)state;
    char secret[FILES_SECRET_MAX];
    put("s", "pass word \n", 11, 0600);
    assert_int_equal(files_read_secret(in_dir("s"), secret, sizeof secret, &why), STATUS_OK);
    assert_string_equal(secret, "pass word ");
    put("s", "x\n\n", 3, 0400);
    assert_int_equal(files_read_secret(in_dir("s"), secret, sizeof secret, &why), STATUS_OK);
    assert_string_equal(secret, "x\n");
}

static void a_secret_that_others_can_read_is_refused_with_the_cure(void **state)
{
    (void)state;
    char secret[FILES_SECRET_MAX];
    static const mode_t modes[] = { 0644, 0640, 0604, 0620 };
    for (size_t i = 0; i < 4; i++) {
        put("open", "x", 1, modes[i]);
        assert_int_equal(files_read_secret(in_dir("open"), secret, sizeof secret, &why), STATUS_REFUSED);
        assert_non_null(strstr(why.text, "chmod 600"));
        assert_non_null(strstr(why.text, path));
    }
}

static void a_bare_name_is_a_credential(void **state)
{
    (void)state;
    char secret[FILES_SECRET_MAX];
    put("open", "cred\n", 5, 0440);
    assert_int_equal(files_read_secret("open", secret, sizeof secret, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "LoadCredential=open"));
    setenv("CREDENTIALS_DIRECTORY", dir, 1);
    assert_int_equal(files_read_secret("open", secret, sizeof secret, &why), STATUS_OK);
    assert_string_equal(secret, "cred");
    assert_int_equal(files_read_secret(in_dir("open"), secret, sizeof secret, &why), STATUS_OK);
    assert_int_equal(files_read_secret("none", secret, sizeof secret, &why), STATUS_NONE);
    assert_int_equal(files_read_secret("..", secret, sizeof secret, &why), STATUS_IO);
    char round[300];
    snprintf(round, sizeof round, "%s/../%s/open", dir, strrchr(dir, '/') + 1);
    assert_int_equal(files_read_secret(round, secret, sizeof secret, &why), STATUS_REFUSED);
    unsetenv("CREDENTIALS_DIRECTORY");
}

static void a_secret_must_be_a_line_of_text(void **state)
{
    (void)state;
    char secret[16];
    put("bad", "\n", 1, 0600);
    assert_int_equal(files_read_secret(in_dir("bad"), secret, sizeof secret, &why), STATUS_INVALID);
    put("bad", "a\0b", 3, 0600);
    assert_int_equal(files_read_secret(in_dir("bad"), secret, sizeof secret, &why), STATUS_INVALID);
    put("bad", "0123456789abcdef", 16, 0600);
    assert_int_equal(files_read_secret(in_dir("bad"), secret, sizeof secret, &why), STATUS_INVALID);
    put("bad", "0123456789abcde", 15, 0600);
    assert_int_equal(files_read_secret(in_dir("bad"), secret, sizeof secret, &why), STATUS_OK);
    assert_int_equal(files_read_secret("/dev/null", secret, sizeof secret, &why), STATUS_IO);
    assert_int_equal(files_read_secret(in_dir("missing"), secret, sizeof secret, NULL), STATUS_NONE);
}

static void a_file_is_read_whole_or_refused(void **state)
{
    (void)state;
    char *text = NULL;
    size_t n = 0;
    put("f", "four", 4, 0644);
    assert_int_equal(files_read(in_dir("f"), 4, &text, &n, &why), STATUS_OK);
    assert_int_equal(n, 4);
    assert_string_equal(text, "four");
    free(text);
    assert_int_equal(files_read(path, 3, &text, &n, &why), STATUS_FULL);
    assert_int_equal(files_read(dir, 3, &text, &n, &why), STATUS_IO);
    assert_int_equal(files_read(in_dir("missing"), 3, &text, &n, &why), STATUS_NONE);
    assert_non_null(strstr(why.text, "missing"));
}

static void writing_replaces_in_one_step(void **state)
{
    (void)state;
    char *text = NULL;
    size_t n = 0;
    struct stat st;
    put("w", "old", 3, 0644);
    assert_int_equal(files_write(in_dir("w"), "newer", 5, 0600, &why), STATUS_OK);
    assert_int_equal(files_read(path, 10, &text, &n, &why), STATUS_OK);
    assert_string_equal(text, "newer");
    free(text);
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    strcat(path, ".new");
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(files_write(in_dir("no/such/dir"), "x", 1, 0600, &why), STATUS_IO);
}

static void directories_are_made_and_files_in_the_way_told(void **state)
{
    (void)state;
    assert_int_equal(files_make_dirs(in_dir("a/b/c/"), 0750, &why), STATUS_OK);
    assert_int_equal(files_make_dirs(in_dir("a/b/c"), 0750, &why), STATUS_OK);
    put("f", "x", 1, 0600);
    assert_int_equal(files_make_dirs(in_dir("f/x"), 0750, &why), STATUS_IO);
    assert_non_null(strstr(why.text, "/f"));
    assert_int_equal(files_make_dirs("", 0750, &why), STATUS_INVALID);
}

static void a_second_daemon_is_refused_by_the_first_one_s_number(void **state)
{
    (void)state;
    int fd = -1, second = -1;
    assert_int_equal(files_lock(in_dir("lock"), &fd, &why), STATUS_OK);
    assert_int_equal(files_lock(path, &second, &why), STATUS_REFUSED);
    assert_int_equal(second, -1);
    char pid[16];
    snprintf(pid, sizeof pid, "%ld", (long)getpid());
    assert_non_null(strstr(why.text, pid));
    close(fd);
    assert_int_equal(files_lock(path, &fd, &why), STATUS_OK);
    close(fd);
    assert_int_equal(files_lock(in_dir("no/lock"), &fd, &why), STATUS_IO);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_secret_is_read_without_its_newline),
        cmocka_unit_test(a_secret_that_others_can_read_is_refused_with_the_cure),
        cmocka_unit_test(a_bare_name_is_a_credential),
        cmocka_unit_test(a_secret_must_be_a_line_of_text),
        cmocka_unit_test(a_file_is_read_whole_or_refused),
        cmocka_unit_test(writing_replaces_in_one_step),
        cmocka_unit_test(directories_are_made_and_files_in_the_way_told),
        cmocka_unit_test(a_second_daemon_is_refused_by_the_first_one_s_number),
    };
    return cmocka_run_group_tests(tests, make, sweep);
}
