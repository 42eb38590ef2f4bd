/* What the service manager is told (sd_notify protocol); nothing happens when there is none. */
#ifndef LENTIC_ADAPTERS_SD_H
#define LENTIC_ADAPTERS_SD_H

#include <stdint.h>

void sd_tell_ready(void);
void sd_tell_status(const char *format, ...) __attribute__((format(printf, 1, 2))); /* one line for people */
void sd_tell_reloading(void); /* sd_tell_ready ends it */
void sd_tell_stopping(void);

/* WATCHDOG=1: call it only after real progress. */
void sd_tell_alive(void);

/* How often sd_tell_alive is wanted: half the watchdog's time. 0: no watchdog set for this process. */
int64_t sd_alive_interval_ms(void);

#endif
