#include "adapters/mqtt_socket.h"

#include <arpa/inet.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

/* Calls each with every open socket's descriptor. By their names only: touching the descriptors of other
 * threads would race with their closing. */
static void each_socket(void (*each)(void *context, int fd, ino_t inode), void *context)
{
    DIR *dir = opendir("/proc/self/fd");
    struct dirent *entry;
    while (dir != NULL && (entry = readdir(dir)) != NULL) {
        char name[64];
        unsigned long inode;
        ssize_t n = readlinkat(dirfd(dir), entry->d_name, name, sizeof name - 1);
        name[n > 0 ? n : 0] = '\0';
        if (sscanf(name, "socket:[%lu]", &inode) == 1)
            each(context, atoi(entry->d_name), (ino_t)inode);
    }
    if (dir != NULL)
        closedir(dir);
}

static void note(void *context, int fd, ino_t inode)
{
    (void)fd;
    struct mqtt_sockets *before = context;
    if (before->count < MQTT_SOCKETS_MAX)
        before->inodes[before->count++] = inode;
}

void mqtt_socket_note(struct mqtt_sockets *before)
{
    before->count = 0;
    each_socket(note, before);
}

struct search {
    const struct mqtt_sockets *before;
    int port, found, fd;
};

static int peer_port(int fd)
{
    struct sockaddr_storage peer = { 0 };
    socklen_t len = sizeof peer;
    if (getpeername(fd, (struct sockaddr *)&peer, &len) != 0)
        return -1;
    if (peer.ss_family == AF_INET)
        return ntohs(((struct sockaddr_in *)&peer)->sin_port);
    return peer.ss_family == AF_INET6 ? ntohs(((struct sockaddr_in6 *)&peer)->sin6_port) : -1;
}

static void match(void *context, int fd, ino_t inode)
{
    struct search *search = context;
    for (int i = 0; i < search->before->count; i++)
        if (search->before->inodes[i] == inode)
            return;
    if (peer_port(fd) != search->port)
        return;
    search->found++;
    search->fd = fd;
}

int mqtt_socket_find(const struct mqtt_sockets *before, int port)
{
    struct search search = { .before = before, .port = port, .fd = -1 };
    each_socket(match, &search);
    return search.found == 1 ? search.fd : -1;
}

void mqtt_socket_peer(int fd, struct sockaddr_storage *peer)
{
    socklen_t len = sizeof *peer;
    memset(peer, 0, sizeof *peer);
    if (fd < 0 || getpeername(fd, (struct sockaddr *)peer, &len) != 0)
        peer->ss_family = AF_UNSPEC;
}

bool mqtt_socket_reaches(const struct sockaddr_storage *peer, int wait_ms)
{
    int fault = 0;
    socklen_t len = sizeof fault;
    int fd = peer->ss_family == AF_UNSPEC
                 ? -1
                 : socket(peer->ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return false;
    bool taken = connect(fd, (const struct sockaddr *)peer, sizeof *peer) == 0;
    struct pollfd answer = { .fd = fd, .events = POLLOUT };
    struct timespec wait = { wait_ms / 1000, (long)(wait_ms % 1000) * 1000000 };
    /* Not poll(), which mqtt_ahead answers for the library's sockets: the number may have been one of them.
     */
    if (!taken && errno == EINPROGRESS && ppoll(&answer, 1, &wait, NULL) == 1)
        taken = getsockopt(fd, SOL_SOCKET, SO_ERROR, &fault, &len) == 0 && fault == 0;
    close(fd);
    return taken;
}

void mqtt_socket_hurry(int fd)
{
    int on = 1;
    /* Without it everything works, only slower. */
    (void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
}

void mqtt_socket_confirm(int fd)
{
    int on = 1;
    (void)setsockopt(fd, IPPROTO_TCP, TCP_QUICKACK, &on, sizeof on);
}

void mqtt_socket_cut(int fd)
{
    int nowhere = open("/dev/null", O_RDWR | O_CLOEXEC);
    if (nowhere < 0 || dup3(nowhere, fd, O_CLOEXEC) < 0)
        (void)shutdown(fd, SHUT_RDWR);
    if (nowhere >= 0)
        close(nowhere);
}
