/* Reading ahead changes when the kernel is asked, never what is read. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include "adapters/mqtt_ahead.h"

struct pair {
    int ours, theirs;
};

static struct pair pair_made(void)
{
    int fds[2];
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK, 0, fds), 0);
    return (struct pair){ fds[0], fds[1] };
}

static void pair_closed(struct pair p)
{
    mqtt_ahead_end(p.ours);
    close(p.ours);
    close(p.theirs);
}

static void said(struct pair p, const char *text)
{
    assert_int_equal(write(p.theirs, text, strlen(text)), (ssize_t)strlen(text));
}

static void hears(struct pair p, const char *text)
{
    char got[64] = "";
    assert_int_equal(recv(p.ours, got, strlen(text), 0), (ssize_t)strlen(text));
    assert_string_equal(got, text);
}

/* Left with the kernel, that is: not yet read. */
static int unread(struct pair p)
{
    int n = -1;
    assert_int_equal(ioctl(p.ours, FIONREAD, &n), 0);
    return n;
}

static short ready(struct pair p, short events)
{
    struct pollfd fd = { .fd = p.ours, .events = events };
    int n = poll(&fd, 1, 0);
    assert_int_equal(n, fd.revents != 0);
    return fd.revents;
}

static void what_is_sent_is_read_in_its_order(void **state)
{
    (void)state;
    for (int ahead = 0; ahead < 2; ahead++) {
        struct pair p = pair_made();
        char c;
        if (ahead)
            mqtt_ahead_begin(p.ours);
        said(p, "one two");
        hears(p, "o");
        assert_int_equal(unread(p), ahead ? 0 : 6);
        said(p, " three");
        hears(p, "ne two");
        hears(p, " th");
        hears(p, "ree");
        assert_int_equal(recv(p.ours, &c, 1, 0), -1);
        assert_int_equal(errno, EAGAIN);
        said(p, "end");
        shutdown(p.theirs, SHUT_WR);
        hears(p, "e");
        hears(p, "nd");
        assert_int_equal(recv(p.ours, &c, 1, 0), 0);
        pair_closed(p);
    }
}

static void nothing_is_read_into_nothing(void **state)
{
    struct pair p = pair_made();
    (void)state;
    mqtt_ahead_begin(p.ours);
    said(p, "ab");
    hears(p, "a");
    assert_int_equal(recv(p.ours, NULL, 0, 0), 0);
    hears(p, "b");
    pair_closed(p);
}

static void a_large_piece_comes_whole(void **state)
{
    enum { LARGE = 60000 };
    static char sent[LARGE], got[LARGE];
    struct pair p = pair_made();
    (void)state;
    mqtt_ahead_begin(p.ours);
    for (int i = 0; i < LARGE; i++)
        sent[i] = (char)(i * 31);
    for (int round = 0; round < 2; round++) {
        ssize_t n, at = round == 1 ? 5 : 0;
        assert_int_equal(write(p.theirs, sent, LARGE), LARGE);
        if (round == 1)
            assert_int_equal(recv(p.ours, got, 5, 0), 5);
        for (; at < LARGE; at += n)
            assert_true((n = recv(p.ours, got + at, (size_t)(LARGE - at), 0)) > 0);
        assert_memory_equal(got, sent, LARGE);
    }
    pair_closed(p);
}

static void bytes_that_wait_make_ready(void **state)
{
    struct pair p = pair_made();
    (void)state;
    mqtt_ahead_begin(p.ours);
    assert_int_equal(ready(p, POLLIN), 0);
    assert_int_equal(ready(p, POLLOUT), POLLOUT);
    said(p, "ab");
    hears(p, "a");
    assert_int_equal(unread(p), 0);
    for (int i = 0; i < 40; i++) {
        assert_int_equal(ready(p, POLLOUT), POLLOUT);
        assert_int_equal(ready(p, POLLIN), POLLIN);
    }
    hears(p, "b");
    assert_int_equal(ready(p, POLLIN), 0);
    pair_closed(p);
}

/* The library takes no more while its answers cannot go out. */
static void no_room_to_write_is_seen(void **state)
{
    static const char much[4096];
    struct pair p = pair_made();
    (void)state;
    mqtt_ahead_begin(p.ours);
    said(p, "abc");
    hears(p, "a");
    assert_int_equal(ready(p, POLLOUT), POLLOUT);
    while (write(p.ours, much, sizeof much) > 0)
        continue;
    int said_ready = 0;
    for (int i = 0; i < 100; i++) {
        said_ready += ready(p, POLLOUT) == POLLOUT;
        assert_int_equal(ready(p, POLLIN), POLLIN);
    }
    assert_true(said_ready <= 16);
    hears(p, "bc");
    pair_closed(p);
}

static void another_socket_has_its_turn(void **state)
{
    struct pair p = pair_made(), other = pair_made();
    int turns = 0;
    (void)state;
    mqtt_ahead_begin(p.ours);
    said(p, "ab");
    hears(p, "a");
    said(other, "x");
    for (int i = 0; i < 64; i++) {
        struct pollfd fds[] = { { .fd = other.ours, .events = POLLIN }, { .fd = p.ours, .events = POLLIN } };
        int n = poll(fds, 2, 1000);
        assert_int_equal(fds[1].revents, POLLIN);
        assert_int_equal(n, 1 + (fds[0].revents != 0));
        turns += fds[0].revents == POLLIN;
    }
    assert_true(turns >= 4);
    hears(other, "x");
    pair_closed(p);
    pair_closed(other);
}

/* The end is told while the library still reads, or after it closed the socket and its number went on. */
static void the_end_loses_nothing_and_passes_nothing_on(void **state)
{
    struct pair p = pair_made(), next = pair_made();
    (void)state;
    mqtt_ahead_begin(p.ours);
    said(p, "abc");
    hears(p, "a");
    mqtt_ahead_end(p.ours);
    said(p, "d");
    assert_int_equal(ready(p, POLLIN), POLLIN);
    hears(p, "bc");
    hears(p, "d");
    mqtt_ahead_begin(p.ours);
    said(p, "old");
    hears(p, "o");
    assert_int_equal(dup2(next.ours, p.ours), p.ours);
    mqtt_ahead_end(p.ours);
    assert_int_equal(ready(p, POLLIN), 0);
    said(next, "new");
    hears(p, "new");
    pair_closed(p);
    pair_closed(next);
}

static void more_sockets_than_places_are_read_as_ever(void **state)
{
    struct pair pairs[8];
    (void)state;
    for (int i = 0; i < 8; i++) {
        pairs[i] = pair_made();
        mqtt_ahead_begin(pairs[i].ours);
        said(pairs[i], "some text");
        hears(pairs[i], "some");
    }
    for (int i = 0; i < 8; i++)
        hears(pairs[i], " text");
    for (int i = 0; i < 8; i++)
        pair_closed(pairs[i]);
    struct pair p = pair_made();
    mqtt_ahead_begin(p.ours);
    said(p, "ab");
    hears(p, "a");
    assert_int_equal(unread(p), 0);
    hears(p, "b");
    pair_closed(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_sent_is_read_in_its_order),
        cmocka_unit_test(nothing_is_read_into_nothing),
        cmocka_unit_test(a_large_piece_comes_whole),
        cmocka_unit_test(bytes_that_wait_make_ready),
        cmocka_unit_test(no_room_to_write_is_seen),
        cmocka_unit_test(another_socket_has_its_turn),
        cmocka_unit_test(the_end_loses_nothing_and_passes_nothing_on),
        cmocka_unit_test(more_sockets_than_places_are_read_as_ever),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
