#include "adapters/store_readers.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Bytes of the shared memory on which readers hold their locks (SQLite, "WAL-mode File Format", 2.3.1). */
#define READ_LOCKS      123
#define READ_LOCK_COUNT 5

int store_readers_watch(const char *path)
{
    char shared[520];
    (void)snprintf(shared, sizeof shared, "%s-shm", path);
    return open(shared, O_RDWR | O_CLOEXEC);
}

int store_readers_end(int readers)
{
    if (readers >= 0)
        close(readers);
    return -1;
}

/* Empty when it cannot be read. */
static void name_of(int pid, char *name, size_t cap)
{
    char path[64];
    (void)snprintf(path, sizeof path, "/proc/%d/comm", pid);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    ssize_t n = fd >= 0 ? read(fd, name, cap - 1) : 0;
    if (fd >= 0)
        close(fd);
    name[n > 0 ? n : 0] = '\0';
    name[strcspn(name, "\n")] = '\0';
}

bool store_readers_tell(int readers, char *buf, size_t cap)
{
    struct flock lock = {
        .l_type = F_WRLCK, .l_whence = SEEK_SET, .l_start = READ_LOCKS, .l_len = READ_LOCK_COUNT
    };
    char name[32];
    if (readers < 0 || fcntl(readers, F_GETLK, &lock) != 0 || lock.l_type == F_UNLCK || lock.l_pid <= 0)
        return false;
    name_of(lock.l_pid, name, sizeof name);
    (void)snprintf(buf, cap, name[0] != '\0' ? "process %d (%s)" : "process %d", lock.l_pid, name);
    return true;
}
