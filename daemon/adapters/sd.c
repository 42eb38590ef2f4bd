#include "adapters/sd.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/log.h"
#include "base/number.h"

/* One datagram to the socket that the manager names. By hand: its library brings five others into memory, a
 * megabyte for this. Nobody waits for an answer, and a manager that is gone is no fault of ours. */
static void tell(const char *text)
{
    const char *path = getenv("NOTIFY_SOCKET");
    struct sockaddr_un to = { .sun_family = AF_UNIX };
    size_t n = path != NULL ? strlen(path) : 0;
    if (n < 2 || n > sizeof to.sun_path || (path[0] != '/' && path[0] != '@'))
        return;
    memcpy(to.sun_path, path, n);
    if (path[0] == '@')
        to.sun_path[0] = '\0'; /* an abstract name */
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return;
    socklen_t len = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n);
    (void)sendto(fd, text, strlen(text), MSG_NOSIGNAL, (struct sockaddr *)&to, len);
    close(fd);
}

void sd_tell_ready(void)
{
    tell("READY=1");
}

void sd_tell_status(const char *format, ...)
{
    char line[256] = "STATUS=";
    size_t head = strlen(line);
    va_list args;
    va_start(args, format);
    vsnprintf(line + head, sizeof line - head, format, args);
    va_end(args);
    /* A newline would begin another field of the protocol. */
    log_clean(line + head);
    tell(line);
}

void sd_tell_reloading(void)
{
    char text[64];
    snprintf(text, sizeof text, "RELOADING=1\nMONOTONIC_USEC=%" PRIu64, clock_monotonic_us());
    tell(text);
}

void sd_tell_stopping(void)
{
    tell("STOPPING=1");
}

void sd_tell_alive(void)
{
    tell("WATCHDOG=1");
}

static double number_of(const char *name)
{
    const char *text = getenv(name);
    double v;
    return text != NULL && number_parse(text, strlen(text), NUMBER_PLAIN, &v) == STATUS_OK ? v : 0;
}

int64_t sd_alive_interval_ms(void)
{
    double us = number_of("WATCHDOG_USEC");
    bool for_us = getenv("WATCHDOG_PID") == NULL || number_of("WATCHDOG_PID") == (double)getpid();
    if (!for_us || !(us > 0) || us > 1e15)
        return 0;
    int64_t ms = (int64_t)(us / 2000);
    return ms > 0 ? ms : 1;
}
