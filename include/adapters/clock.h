/* The only reader of clocks. */
#ifndef LENTIC_ADAPTERS_CLOCK_H
#define LENTIC_ADAPTERS_CLOCK_H

#include "base/times.h"

/* Wall clock and boot clock (CLOCK_BOOTTIME) read together. trusted: the kernel says the clock is synchronised
 * (adjtimex), or it stands at or past the floor given to clock_trust_after. */
struct now clock_now(void);

/* The newest time the store knows: a wall clock at or past it is believed. */
void clock_trust_after(utc_t newest);

/* Minute of the local day and weekday for display and quiet hours. */
int clock_local_minute(utc_t t);

#endif
