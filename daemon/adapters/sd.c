#include "adapters/sd.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <systemd/sd-daemon.h>

#include "adapters/clock.h"
#include "adapters/log.h"

void sd_tell_ready(void)
{
    sd_notify(0, "READY=1");
}

void sd_tell_status(const char *format, ...)
{
    char line[256];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    /* A newline would begin another field of the protocol. */
    log_clean(line);
    sd_notifyf(0, "STATUS=%s", line);
}

void sd_tell_reloading(void)
{
    sd_notifyf(0, "RELOADING=1\nMONOTONIC_USEC=%" PRIu64, clock_monotonic_us());
}

void sd_tell_stopping(void)
{
    sd_notify(0, "STOPPING=1");
}

void sd_tell_alive(void)
{
    sd_notify(0, "WATCHDOG=1");
}

int64_t sd_alive_interval_ms(void)
{
    uint64_t us = 0;
    if (sd_watchdog_enabled(0, &us) <= 0 || us > INT64_MAX)
        return 0;
    int64_t ms = (int64_t)(us / 2000);
    return ms > 0 ? ms : 1;
}
