#include "adapters/files.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static enum status say_errno(struct why *why, const char *doing, const char *path)
{
    int e = errno;
    return why_say(why, e == ENOENT ? STATUS_NONE : STATUS_IO, "%s: cannot %s: %s", path, doing, strerror(e));
}

/* Reads until cap bytes or the end. */
static ssize_t read_all(int fd, char *buf, size_t cap)
{
    size_t at = 0;
    while (at < cap) {
        ssize_t got = read(fd, buf + at, cap - at);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return -1;
        if (got == 0)
            break;
        at += (size_t)got;
    }
    return (ssize_t)at;
}

static bool write_all(int fd, const char *bytes, size_t n)
{
    while (n > 0) {
        ssize_t put = write(fd, bytes, n);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return false;
        bytes += put;
        n -= (size_t)put;
    }
    return true;
}

static enum status open_regular(const char *path, int *fd, struct stat *st, struct why *why)
{
    *fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    if (*fd < 0)
        return say_errno(why, "open", path);
    if (fstat(*fd, st) == 0 && S_ISREG(st->st_mode))
        return STATUS_OK;
    close(*fd);
    return why_say(why, STATUS_IO, "%s: not a regular file", path);
}

static enum status locate_secret(const char *name, char *path, size_t cap, bool *credential, struct why *why)
{
    const char *dir = getenv("CREDENTIALS_DIRECTORY");
    bool bare = strchr(name, '/') == NULL;
    if (bare && (dir == NULL || dir[0] == '\0'))
        return why_say(
            why, STATUS_NONE,
            "secret \"%s\" is a bare name, looked up below $CREDENTIALS_DIRECTORY, which is not set: give "
            "the full path, or start the service with LoadCredential=%s:PATH",
            name, name);
    int n = bare ? snprintf(path, cap, "%s/%s", dir, name) : snprintf(path, cap, "%s", name);
    if (n < 0 || (size_t)n >= cap)
        return why_say(why, STATUS_INVALID, "%s: the path is too long", name);
    size_t dir_len = dir != NULL ? strlen(dir) : 0;
    *credential = bare || (dir_len > 0 && strncmp(path, dir, dir_len) == 0 && path[dir_len] == '/' &&
                           !strstr(path, "/../"));
    return STATUS_OK;
}

static size_t cut_newline(char *buf, size_t n)
{
    if (n > 0 && buf[n - 1] == '\n')
        n--;
    if (n > 0 && buf[n - 1] == '\r')
        n--;
    buf[n] = '\0';
    return n;
}

enum status files_read_secret(const char *name, char *buf, size_t cap, struct why *why)
{
    char path[PATH_MAX];
    bool credential = false;
    struct stat st;
    int fd;
    enum status status = locate_secret(name, path, sizeof path, &credential, why);
    if (status == STATUS_OK)
        status = open_regular(path, &fd, &st, why);
    if (status != STATUS_OK)
        return status;
    if (!credential && (st.st_mode & (S_IRWXG | S_IRWXO)) != 0) {
        close(fd);
        return why_say(why, STATUS_REFUSED, "%s: holds a secret, but its mode is %04o: chmod 600 it", path,
                       (unsigned)(st.st_mode & 07777));
    }
    ssize_t got = read_all(fd, buf, cap);
    close(fd);
    if (got < 0)
        return say_errno(why, "read", path);
    if ((size_t)got == cap)
        return why_say(why, STATUS_INVALID, "%s: a secret longer than %zu bytes", path, cap - 1);
    size_t n = cut_newline(buf, (size_t)got);
    if (n == 0)
        return why_say(why, STATUS_INVALID, "%s: is empty, a secret was expected", path);
    if (memchr(buf, '\0', n) != NULL)
        return why_say(why, STATUS_INVALID, "%s: holds a zero byte, a line of text was expected", path);
    return STATUS_OK;
}

enum status files_read(const char *path, size_t max, char **out, size_t *n, struct why *why)
{
    struct stat st;
    int fd;
    enum status status = open_regular(path, &fd, &st, why);
    if (status != STATUS_OK)
        return status;
    char *bytes = malloc(max + 1);
    if (bytes == NULL) {
        close(fd);
        return why_say(why, STATUS_IO, "%s: no memory to read it", path);
    }
    ssize_t got = read_all(fd, bytes, max + 1);
    if (got < 0)
        status = say_errno(why, "read", path);
    else if ((size_t)got > max)
        status = why_say(why, STATUS_FULL, "%s: longer than %zu bytes", path, max);
    close(fd);
    if (status != STATUS_OK) {
        free(bytes);
        return status;
    }
    bytes[got] = '\0';
    *out = bytes;
    *n = (size_t)got;
    return STATUS_OK;
}

static bool sync_directory_of(const char *path)
{
    char dir[PATH_MAX];
    const char *slash = strrchr(path, '/');
    int n = slash == NULL ? snprintf(dir, sizeof dir, ".")
                          : snprintf(dir, sizeof dir, "%.*s", slash == path ? 1 : (int)(slash - path), path);
    if (n < 0 || (size_t)n >= sizeof dir)
        return false;
    int fd = open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return false;
    bool done = fsync(fd) == 0;
    close(fd);
    return done;
}

static enum status replace(const char *path, const void *bytes, size_t n, mode_t mode, bool synced,
                           struct why *why)
{
    char fresh[PATH_MAX];
    int length = snprintf(fresh, sizeof fresh, "%s.new", path);
    if (length < 0 || (size_t)length >= sizeof fresh)
        return why_say(why, STATUS_INVALID, "%s: the path is too long", path);
    int fd = open(fresh, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, mode);
    if (fd < 0)
        return why_say(why, STATUS_IO, "%s: cannot write: %s", fresh, strerror(errno));
    bool written = fchmod(fd, mode) == 0 && write_all(fd, bytes, n) && (!synced || fsync(fd) == 0);
    int e = errno;
    written = close(fd) == 0 && written;
    if (!written) {
        unlink(fresh);
        return why_say(why, STATUS_IO, "%s: cannot write: %s", fresh, strerror(e));
    }
    if (rename(fresh, path) != 0 || (synced && !sync_directory_of(path)))
        return why_say(why, STATUS_IO, "%s: cannot put the new file in place: %s", path, strerror(errno));
    return STATUS_OK;
}

enum status files_write(const char *path, const void *bytes, size_t n, mode_t mode, struct why *why)
{
    return replace(path, bytes, n, mode, true, why);
}

enum status files_write_passing(const char *path, const void *bytes, size_t n, mode_t mode, struct why *why)
{
    return replace(path, bytes, n, mode, false, why);
}

static bool is_directory(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

enum status files_make_dirs(const char *path, mode_t mode, struct why *why)
{
    char part[PATH_MAX];
    size_t n = strlen(path);
    if (n == 0 || n >= sizeof part)
        return why_say(why, STATUS_INVALID, "\"%.64s\": not a path of 1 to %d bytes", path, PATH_MAX - 1);
    memcpy(part, path, n + 1);
    for (size_t i = 1; i <= n; i++) {
        if (part[i] != '/' && part[i] != '\0')
            continue;
        part[i] = '\0';
        if (mkdir(part, mode) != 0 && !is_directory(part))
            return why_say(why, STATUS_IO, "%s: cannot make this directory: %s", part, strerror(errno));
        if (i < n)
            part[i] = '/';
    }
    return STATUS_OK;
}

static enum status say_held(int fd, const char *path, struct why *why)
{
    char pid[16] = "";
    ssize_t got = read_all(fd, pid, sizeof pid - 1);
    pid[got > 0 ? strspn(pid, "0123456789") : 0] = '\0';
    return why_say(why, STATUS_REFUSED, "%s: another daemon%s%s already works on this directory", path,
                   pid[0] != '\0' ? ", process " : "", pid);
}

enum status files_lock(const char *path, int *fd, struct why *why)
{
    *fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (*fd < 0)
        return why_say(why, STATUS_IO, "%s: cannot open the lock: %s", path, strerror(errno));
    enum status status = STATUS_OK;
    if (flock(*fd, LOCK_EX | LOCK_NB) != 0)
        status = errno == EWOULDBLOCK ? say_held(*fd, path, why)
                                      : why_say(why, STATUS_IO, "%s: cannot lock: %s", path, strerror(errno));
    char pid[16];
    int n = snprintf(pid, sizeof pid, "%ld\n", (long)getpid());
    if (status == STATUS_OK && (ftruncate(*fd, 0) != 0 || !write_all(*fd, pid, (size_t)n)))
        status = why_say(why, STATUS_IO, "%s: cannot write the lock: %s", path, strerror(errno));
    if (status != STATUS_OK) {
        close(*fd);
        *fd = -1;
    }
    return status;
}

int64_t files_written(void)
{
    long long written = -1, cancelled = 0;
    char line[128];
    FILE *io = fopen("/proc/self/io", "re");
    while (io != NULL && fgets(line, sizeof line, io) != NULL) {
        (void)sscanf(line, "write_bytes: %lld", &written);
        (void)sscanf(line, "cancelled_write_bytes: %lld", &cancelled);
    }
    if (io != NULL)
        fclose(io);
    return written < 0 ? -1 : written - cancelled;
}
