#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/mqtt_socket.h"

static int listen_on_loopback(int *port)
{
    struct sockaddr_in at = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    socklen_t len = sizeof at;
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&at, len), 0);
    assert_int_equal(listen(fd, 8), 0);
    assert_int_equal(getsockname(fd, (struct sockaddr *)&at, &len), 0);
    *port = ntohs(at.sin_port);
    return fd;
}

static int connect_to(int port)
{
    struct sockaddr_in at = { .sin_family = AF_INET,
                              .sin_port = htons((uint16_t)port),
                              .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    assert_int_equal(connect(fd, (struct sockaddr *)&at, sizeof at), 0);
    return fd;
}

static void the_new_stream_to_the_port_is_found(void **state)
{
    (void)state;
    int port, other_port;
    int listener = listen_on_loopback(&port), other = listen_on_loopback(&other_port);
    int earlier = connect_to(port);
    struct mqtt_sockets before;
    mqtt_socket_note(&before);
    assert_true(before.count >= 3);
    assert_int_equal(mqtt_socket_find(&before, port), -1);
    int elsewhere = connect_to(other_port);
    int fd = connect_to(port);
    assert_int_equal(mqtt_socket_find(&before, port), fd);

    int on = 0;
    socklen_t len = sizeof on;
    mqtt_socket_hurry(fd);
    assert_int_equal(getsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, &len), 0);
    assert_true(on != 0);

    char byte;
    int accepted[] = { accept(listener, NULL, NULL), accept(listener, NULL, NULL) };
    mqtt_socket_cut(fd);
    assert_int_equal(write(fd, "x", 1), 1);
    assert_int_equal(read(fd, &byte, 1), 0);
    assert_int_equal(recv(fd, &byte, 1, 0), -1);
    assert_int_equal(errno, ENOTSOCK);
    assert_true(recv(accepted[1], &byte, 1, 0) <= 0); /* the other side gets nothing and is told so */
    assert_int_equal(recv(accepted[0], &byte, 1, MSG_DONTWAIT), -1);
    assert_int_equal(errno, EAGAIN);
    int second = connect_to(port), third = connect_to(port);
    assert_int_equal(mqtt_socket_find(&before, port), -1); /* not to be told apart */
    int all[] = { listener, other, earlier, elsewhere, fd, second, third, accepted[0], accepted[1] };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        close(all[i]);
}

static void a_peer_is_reached_while_it_listens(void **state)
{
    (void)state;
    int port;
    int listener = listen_on_loopback(&port), fd = connect_to(port);
    struct sockaddr_storage peer;
    mqtt_socket_peer(fd, &peer);
    assert_true(mqtt_socket_reaches(&peer, 300));
    close(listener);
    assert_false(mqtt_socket_reaches(&peer, 300));
    close(fd);
    mqtt_socket_peer(-1, &peer);
    assert_false(mqtt_socket_reaches(&peer, 300));
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(the_new_stream_to_the_port_is_found),
                                        cmocka_unit_test(a_peer_is_reached_while_it_listens) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
