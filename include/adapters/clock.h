/* The only reader of clocks. */
#ifndef LENTIC_ADAPTERS_CLOCK_H
#define LENTIC_ADAPTERS_CLOCK_H

#include "base/times.h"

/* Wall clock and boot clock (CLOCK_BOOTTIME) read together. trusted: the kernel says the clock is
 * synchronised (adjtimex), or it stands at or past both the day this program was built and the time given to
 * clock_trust_after. Any thread. */
struct now clock_now(void);

/* The newest time the store knows: a wall clock at or past it is believed. UTC_NONE and earlier times than
 * one given before change nothing. */
void clock_trust_after(utc_t newest);

/* Midnight UTC of the day this program was built (SOURCE_DATE_EPOCH when the build sets it): no clock that is
 * right shows less. */
utc_t clock_built(void);

/* Time zone for the two functions below: IANA name or POSIX rule; NULL: the system's. At start-up and on
 * reload, main thread. A name that the system does not know means UTC to the C library. */
void clock_set_timezone(const char *name);

/* Minute of the local day, 0..1439, and day of the local week, 0 Sunday .. 6 Saturday; for display, quiet
 * hours and summaries. */
int clock_local_minute(utc_t t);
int clock_local_weekday(utc_t t);

/* Microseconds on CLOCK_MONOTONIC, as the service manager wants them with RELOADING=1. */
uint64_t clock_monotonic_us(void);

#endif
