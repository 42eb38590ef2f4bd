#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/sd.h"

static int manager = -1;
static char got[512];

static int listen_as_manager(void **state)
{
    (void)state;
    struct sockaddr_un name = { .sun_family = AF_UNIX };
    snprintf(name.sun_path + 1, sizeof name.sun_path - 1, "lentic-test-sd-%ld", (long)getpid());
    socklen_t len = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + 1 + strlen(name.sun_path + 1));
    manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (manager < 0 || bind(manager, (struct sockaddr *)&name, len) != 0)
        return -1;
    name.sun_path[0] = '@';
    return setenv("NOTIFY_SOCKET", name.sun_path, 1);
}

static int hang_up(void **state)
{
    (void)state;
    unsetenv("NOTIFY_SOCKET");
    return close(manager);
}

static const char *told(void)
{
    ssize_t n = recv(manager, got, sizeof got - 1, MSG_DONTWAIT);
    got[n > 0 ? n : 0] = '\0';
    return got;
}

static void each_state_is_told(void **state)
{
    (void)state;
    sd_tell_ready();
    assert_string_equal(told(), "READY=1");
    sd_tell_alive();
    assert_string_equal(told(), "WATCHDOG=1");
    sd_tell_stopping();
    assert_string_equal(told(), "STOPPING=1");
    sd_tell_reloading();
    assert_int_equal(strncmp(told(), "RELOADING=1\nMONOTONIC_USEC=", 27), 0);
    assert_true(strtoull(got + 27, NULL, 10) > 0);
}

static void a_status_is_one_line(void **state)
{
    (void)state;
    sd_tell_status("broker %s", "x\nREADY=1");
    assert_string_equal(told(), "STATUS=broker x?READY=1");
}

static void nothing_is_told_without_a_manager(void **state)
{
    (void)state;
    unsetenv("NOTIFY_SOCKET");
    sd_tell_ready();
    assert_string_equal(told(), "");
}

static void the_watchdog_is_fed_at_half_time(void **state)
{
    (void)state;
    char pid[16];
    unsetenv("WATCHDOG_USEC");
    assert_int_equal(sd_alive_interval_ms(), 0);
    setenv("WATCHDOG_USEC", "30000000", 1);
    snprintf(pid, sizeof pid, "%ld", (long)getpid());
    setenv("WATCHDOG_PID", pid, 1);
    assert_int_equal(sd_alive_interval_ms(), 15000);
    setenv("WATCHDOG_PID", "1", 1);
    assert_int_equal(sd_alive_interval_ms(), 0);
    setenv("WATCHDOG_USEC", "rubbish", 1);
    setenv("WATCHDOG_PID", pid, 1);
    assert_int_equal(sd_alive_interval_ms(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_state_is_told),
        cmocka_unit_test(a_status_is_one_line),
        cmocka_unit_test(nothing_is_told_without_a_manager),
        cmocka_unit_test(the_watchdog_is_fed_at_half_time),
    };
    return cmocka_run_group_tests(tests, listen_as_manager, hang_up);
}
