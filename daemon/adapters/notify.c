#include "adapters/notify.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/pidfd.h>
#include <sys/wait.h>
#include <unistd.h>

#include "adapters/log.h"

#define USUAL_PATH "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"

struct notify {
    int epoll_fd;
    int pid_fd, output_fd; /* -1 when nothing runs */
    pid_t pid;
    int64_t id;
    int timeout_s;
    mono_t deadline;
    bool timed_out, ended;
    char output[NOTIFY_OUTPUT_MAX + 1];
    size_t output_len;
    struct notify_result result;
};

struct environment {
    char path[512], lang[64];
    char *list[NOTIFY_VARIABLES_MAX + 3];
};

enum status notify_open(struct notify **out, struct why *why)
{
    struct notify *notify = calloc(1, sizeof *notify);
    int fd = epoll_create1(EPOLL_CLOEXEC);
    if (notify == NULL || fd < 0) {
        free(notify);
        if (fd >= 0)
            close(fd);
        return why_say(why, STATUS_IO, "cannot prepare for notify commands: %s", strerror(errno));
    }
    *notify = (struct notify){ .epoll_fd = fd, .pid_fd = -1, .output_fd = -1, .deadline = MONO_NEVER };
    *out = notify;
    return STATUS_OK;
}

static void close_fd(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

/* A file in memory: the command may read as slowly as it likes, or not at all, and nobody waits on a pipe. */
static int input_file(const struct notify_job *job)
{
    int fd = memfd_create("message", MFD_CLOEXEC);
    if (fd < 0)
        return -1;
    if (write(fd, job->input, job->input_len) != (ssize_t)job->input_len || lseek(fd, 0, SEEK_SET) != 0)
        close_fd(&fd);
    return fd;
}

static void build_environment(struct environment *e, const struct notify_job *job)
{
    const char *path = getenv("PATH"), *lang = getenv("LANG");
    int n = 0;
    snprintf(e->path, sizeof e->path, "PATH=%s", path != NULL ? path : USUAL_PATH);
    e->list[n++] = e->path;
    if (lang != NULL) {
        snprintf(e->lang, sizeof e->lang, "LANG=%s", lang);
        e->list[n++] = e->lang;
    }
    for (int i = 0; i < job->variable_count && i < NOTIFY_VARIABLES_MAX; i++)
        if (strncmp(job->variables[i], "LENTIC_", 7) == 0)
            e->list[n++] = (char *)(uintptr_t)job->variables[i];
    e->list[n] = NULL;
}

/* Signals that we block or ignore must work in the command again; a library's descriptors that are not marked
 * close-on-exec must not reach it. */
static int spawn(pid_t *pid, const struct notify_job *job, int input, int output)
{
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attr;
    sigset_t none, all;
    struct environment environment;
    sigemptyset(&none);
    sigfillset(&all);
    build_environment(&environment, job);
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_adddup2(&files, input, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&files, output, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&files, output, STDERR_FILENO);
    posix_spawn_file_actions_addclosefrom_np(&files, STDERR_FILENO + 1);
    posix_spawn_file_actions_addchdir_np(&files, "/");
    posix_spawnattr_init(&attr);
    posix_spawnattr_setflags(&attr, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETSIGMASK);
    posix_spawnattr_setpgroup(&attr, 0);
    posix_spawnattr_setsigmask(&attr, &none);
    posix_spawnattr_setsigdefault(&attr, &all);
    /* argv and environment are not const in the call for reasons of history only. */
    int e = posix_spawnp(pid, job->command[0], &files, &attr, (char *const *)(uintptr_t)job->command,
                         environment.list);
    posix_spawnattr_destroy(&attr);
    posix_spawn_file_actions_destroy(&files);
    return e;
}

static bool watch(struct notify *notify, int fd)
{
    struct epoll_event event = { .events = EPOLLIN };
    return fd >= 0 && epoll_ctl(notify->epoll_fd, EPOLL_CTL_ADD, fd, &event) == 0;
}

static void end_group(const struct notify *notify, int sig)
{
    kill(-notify->pid, sig);
}

enum status notify_start(struct notify *notify, const struct notify_job *job, mono_t now, struct why *why)
{
    if (job->command == NULL || job->command[0] == NULL || job->timeout_s < 1)
        return why_say(why, STATUS_INVALID, "no notify command, or no time for it");
    if (notify_busy(notify) || notify->ended)
        return why_say(why, STATUS_FULL, "a notify command is still running");
    int output[2] = { -1, -1 };
    int input = input_file(job);
    int e = input < 0 || pipe2(output, O_CLOEXEC | O_NONBLOCK) != 0 ? errno : 0;
    /* The command's own end blocks like any other pipe. */
    if (e == 0 && fcntl(output[1], F_SETFL, 0) != 0)
        e = errno;
    if (e == 0)
        e = spawn(&notify->pid, job, input, output[1]);
    close_fd(&input);
    close_fd(&output[1]);
    if (e != 0) {
        close_fd(&output[0]);
        return why_say(why, STATUS_IO, "notify command %s cannot be started: %s", job->command[0],
                       strerror(e));
    }
    notify->output_fd = output[0];
    notify->pid_fd = pidfd_open(notify->pid, 0);
    notify->id = job->id;
    notify->timeout_s = job->timeout_s;
    notify->timed_out = false;
    notify->output_len = 0;
    notify->deadline = mono_add(now, job->timeout_s * MS_PER_S);
    if (watch(notify, notify->pid_fd) && watch(notify, notify->output_fd))
        return STATUS_OK;
    e = errno;
    end_group(notify, SIGKILL);
    waitpid(notify->pid, NULL, 0);
    close_fd(&notify->pid_fd);
    close_fd(&notify->output_fd);
    notify->deadline = MONO_NEVER;
    return why_say(why, STATUS_IO, "notify command %s cannot be watched: %s", job->command[0], strerror(e));
}

/* Everything is read, so that the command never waits; what is beyond the first bytes is dropped. */
static void read_output(struct notify *notify)
{
    char chunk[4096];
    ssize_t got = 0;
    for (int i = 0; i < 64 && notify->output_fd >= 0; i++) {
        got = read(notify->output_fd, chunk, sizeof chunk);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            break;
        size_t room = NOTIFY_OUTPUT_MAX - notify->output_len;
        size_t n = (size_t)got < room ? (size_t)got : room;
        memcpy(notify->output + notify->output_len, chunk, n);
        notify->output_len += n;
    }
    if (got == 0)
        close_fd(&notify->output_fd);
}

static const char *said(struct notify *notify)
{
    notify->output[notify->output_len] = '\0';
    for (char *s = notify->output; *s != '\0'; s++)
        if (*s == '\n' || *s == '\t' || *s == '\r')
            *s = ' ';
    log_clean(notify->output);
    while (notify->output_len > 0 && notify->output[notify->output_len - 1] == ' ')
        notify->output[--notify->output_len] = '\0';
    return notify->output;
}

static void describe(struct notify *notify, int status)
{
    struct notify_result *r = &notify->result;
    char how[120];
    *r = (struct notify_result){ .id = notify->id, .timed_out = notify->timed_out, .exit_code = -1 };
    if (WIFEXITED(status))
        r->exit_code = WEXITSTATUS(status);
    r->delivered = r->exit_code == 0 && !r->timed_out;
    if (r->timed_out)
        snprintf(how, sizeof how, "not done in %d s, ended", notify->timeout_s);
    else if (WIFEXITED(status))
        snprintf(how, sizeof how, "exit code %d", r->exit_code);
    else
        snprintf(how, sizeof how, "ended by signal %d", WTERMSIG(status));
    const char *words = said(notify);
    snprintf(r->text, sizeof r->text, "%s%s%s", how, words[0] != '\0' ? ": " : "", words);
}

static void reap(struct notify *notify)
{
    int status = 0;
    siginfo_t info = { 0 };
    if (waitid(P_PID, (id_t)notify->pid, &info, WEXITED | WNOHANG | WNOWAIT) != 0 ||
        info.si_pid != notify->pid)
        return;
    read_output(notify);
    /* Before it is reaped: afterwards the number could be another group's. */
    if (notify->timed_out)
        end_group(notify, SIGKILL);
    waitpid(notify->pid, &status, 0);
    close_fd(&notify->pid_fd);
    close_fd(&notify->output_fd);
    notify->deadline = MONO_NEVER;
    describe(notify, status);
    notify->ended = true;
}

void notify_advance(struct notify *notify, mono_t now)
{
    if (!notify_busy(notify))
        return;
    read_output(notify);
    reap(notify);
    if (!notify_busy(notify) || now.ms < notify->deadline.ms)
        return;
    end_group(notify, notify->timed_out ? SIGKILL : SIGTERM);
    notify->timed_out = true;
    notify->deadline = mono_add(now, NOTIFY_GRACE_MS);
}

void notify_close(struct notify *notify)
{
    if (notify == NULL)
        return;
    if (notify_busy(notify)) {
        end_group(notify, SIGKILL);
        waitpid(notify->pid, NULL, 0);
    }
    close_fd(&notify->pid_fd);
    close_fd(&notify->output_fd);
    close(notify->epoll_fd);
    free(notify);
}

int notify_fd(const struct notify *notify)
{
    return notify->epoll_fd;
}

mono_t notify_deadline(const struct notify *notify)
{
    return notify->deadline;
}

bool notify_busy(const struct notify *notify)
{
    return notify->pid_fd >= 0;
}

bool notify_take_result(struct notify *notify, struct notify_result *out)
{
    if (!notify->ended)
        return false;
    *out = notify->result;
    notify->ended = false;
    return true;
}
