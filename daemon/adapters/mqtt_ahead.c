#include "adapters/mqtt_ahead.h"

#include <poll.h>
#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>

#define SOCKETS     4
#define AHEAD_BYTES 16384
/* Messages, after which the kernel is asked after the other sockets, and for room to write. */
#define LOOK_EVERY 16

struct ahead {
    int fd_above; /* the descriptor and one; 0: free */
    bool ended;
    dev_t device;
    ino_t inode;
    size_t from, to;
    unsigned rounds;
    bool writable; /* as the kernel last said */
    uint8_t bytes[AHEAD_BYTES];
};

/* The receiving thread asks all the time; another one when it closes a client, which empties its socket. */
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static struct ahead sockets[SOCKETS];

static struct ahead *find(int fd)
{
    for (int i = 0; fd >= 0 && i < SOCKETS; i++)
        if (sockets[i].fd_above == fd + 1)
            return &sockets[i];
    return NULL;
}

static bool is_still(const struct ahead *a, int fd)
{
    struct stat st;
    return fstat(fd, &st) == 0 && st.st_ino == a->inode && st.st_dev == a->device;
}

static struct ahead *place_for(int fd)
{
    struct ahead *a = find(fd);
    for (int i = 0; a == NULL && i < SOCKETS; i++)
        if (sockets[i].fd_above == 0)
            a = &sockets[i];
    for (int i = 0; a == NULL && i < SOCKETS; i++)
        if (sockets[i].ended)
            a = &sockets[i];
    return a;
}

void mqtt_ahead_begin(int fd)
{
    struct stat st;
    if (fd < 0 || fstat(fd, &st) != 0)
        return;
    pthread_mutex_lock(&lock);
    struct ahead *a = place_for(fd);
    if (a != NULL) {
        a->from = a->to = 0;
        a->rounds = 0;
        a->writable = a->ended = false;
        a->device = st.st_dev;
        a->inode = st.st_ino;
        a->fd_above = fd + 1;
    }
    pthread_mutex_unlock(&lock);
}

void mqtt_ahead_end(int fd)
{
    pthread_mutex_lock(&lock);
    struct ahead *a = find(fd);
    if (a != NULL)
        a->ended = true;
    pthread_mutex_unlock(&lock);
}

static void give_up(struct ahead *a)
{
    a->from = a->to = 0;
    a->fd_above = 0;
}

/* The one whose bytes go before what the kernel has; NULL when there is none, or it is done with. */
static struct ahead *holder(int fd)
{
    struct ahead *a = find(fd);
    if (a == NULL || !a->ended)
        return a;
    if (a->from < a->to && is_still(a, fd))
        return a;
    give_up(a);
    return NULL;
}

static ssize_t hand_out(struct ahead *a, void *buf, size_t n)
{
    size_t have = a->to - a->from;
    if (n > have)
        n = have;
    if (n > 0) /* the library reads the rest of a packet that has none into nothing */
        memcpy(buf, a->bytes + a->from, n);
    a->from += n;
    return (ssize_t)n;
}

/* False: it is none of ours, or so much is asked for that it may go where it shall at once. */
static bool read_ahead(int fd, void *buf, size_t n, ssize_t *got)
{
    struct ahead *a = holder(fd);
    if (a == NULL || (a->from == a->to && n >= AHEAD_BYTES))
        return false;
    if (a->from == a->to) {
        *got = recvfrom(fd, a->bytes, AHEAD_BYTES, MSG_DONTWAIT, NULL, NULL);
        if (*got <= 0)
            return true;
        a->from = 0;
        a->to = (size_t)*got;
    }
    *got = hand_out(a, buf, n);
    return true;
}

ssize_t mqtt_ahead_recv(int fd, void *buf, size_t n, int flags) __asm__("recv");
ssize_t mqtt_ahead_recv(int fd, void *buf, size_t n, int flags)
{
    ssize_t got = -1;
    pthread_mutex_lock(&lock);
    bool ours = flags == 0 && read_ahead(fd, buf, n, &got);
    pthread_mutex_unlock(&lock);
    return ours ? got : recvfrom(fd, buf, n, flags, NULL, NULL);
}

static int ask_kernel(struct pollfd *fds, nfds_t n, int timeout_ms)
{
    struct timespec wait = { timeout_ms / 1000, (long)(timeout_ms % 1000) * 1000000 };
    return ppoll(fds, n, timeout_ms < 0 ? NULL : &wait, NULL);
}

/* Whether any of them has bytes here, and whether the kernel is to be asked all the same. */
static bool any_waits(const struct pollfd *fds, nfds_t n, bool *look)
{
    bool waits = false;
    *look = false;
    pthread_mutex_lock(&lock);
    for (nfds_t i = 0; i < n; i++) {
        struct ahead *a = holder(fds[i].fd);
        if (a == NULL || a->from == a->to)
            continue;
        waits = true;
        *look = *look || !a->writable || a->rounds % LOOK_EVERY == 0;
        a->rounds += (fds[i].events & POLLIN) != 0;
    }
    pthread_mutex_unlock(&lock);
    return waits;
}

/* Adds to the kernel's answer, or, where it was not asked, is the answer. */
static int add_own(struct pollfd *fds, nfds_t n, bool asked)
{
    int ready = 0;
    pthread_mutex_lock(&lock);
    for (nfds_t i = 0; i < n; i++) {
        struct ahead *a = holder(fds[i].fd);
        bool waits = a != NULL && a->from < a->to;
        if (!asked)
            fds[i].revents = 0;
        else if (waits && (fds[i].events & POLLOUT))
            a->writable = (fds[i].revents & POLLOUT) != 0;
        if (waits)
            fds[i].revents |= fds[i].events & (a->writable ? POLLIN | POLLOUT : POLLIN);
        ready += fds[i].revents != 0;
    }
    pthread_mutex_unlock(&lock);
    return ready;
}

int mqtt_ahead_poll(struct pollfd *fds, nfds_t n, int timeout_ms) __asm__("poll");
int mqtt_ahead_poll(struct pollfd *fds, nfds_t n, int timeout_ms)
{
    bool look;
    if (!any_waits(fds, n, &look))
        return ask_kernel(fds, n, timeout_ms);
    if (look && ask_kernel(fds, n, 0) < 0)
        return -1;
    return add_own(fds, n, look);
}
