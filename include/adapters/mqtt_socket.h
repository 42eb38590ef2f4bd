/* The library's socket, which it does not hand out: found as the one that is new and leads to the broker's
 * port. */
#ifndef LENTIC_ADAPTERS_MQTT_SOCKET_H
#define LENTIC_ADAPTERS_MQTT_SOCKET_H

#include <stdbool.h>
#include <sys/socket.h>
#include <sys/types.h>

#define MQTT_SOCKETS_MAX 256

struct mqtt_sockets {
    ino_t inodes[MQTT_SOCKETS_MAX];
    int count; /* MQTT_SOCKETS_MAX: there may be more */
};

/* The sockets of this process before connecting. */
void mqtt_socket_note(struct mqtt_sockets *before);

/* After connecting: the descriptor of the stream to that port which was not there before; -1 when there is
 * none, or more than one. */
int mqtt_socket_find(const struct mqtt_sockets *before, int port);

/* The other end of a stream; AF_UNSPEC when there is none. */
void mqtt_socket_peer(int fd, struct sockaddr_storage *peer);

/* Whether it takes a new connection, which is closed at once; waits at most wait_ms. */
bool mqtt_socket_reaches(const struct sockaddr_storage *peer, int wait_ms);

/* Small packets go out at once. */
void mqtt_socket_hurry(int fd);

/* Confirms at once what was received, this once: a broker that gathers small packets holds the next message
 * back until its last acknowledgement is confirmed, up to 40 ms. */
void mqtt_socket_confirm(int fd);

/* The other side gets and sends nothing more; behind the number is something that swallows what is written
 * and cannot be read. Closing it stays with its owner. */
void mqtt_socket_cut(int fd);

#endif
