/* The disk's slow half, on a thread of its own: what was committed is made safe, and the log is carried over
 * into the store, without anybody waiting for it. A disk whose every sync takes seconds then holds up neither
 * intake nor alerts. Only the other files of the store include this. */
#ifndef LENTIC_ADAPTERS_STORE_LOG_H
#define LENTIC_ADAPTERS_STORE_LOG_H

#include <stdbool.h>
#include <stdint.h>

struct store_log;

/* NULL: no memory, no thread. path: of the store, which is open and stays so. */
struct store_log *store_log_start(const char *path);
/* What was asked for is done first. NULL is nothing. */
void store_log_stop(struct store_log *sync);

/* The log as it is now shall reach the disk; the ticket is due when it has. */
uint64_t store_log_ask(struct store_log *sync);
bool store_log_reached(struct store_log *sync, uint64_t ticket);
void store_log_wait(struct store_log *sync, uint64_t ticket);

/* The log is long enough to be carried over. */
void store_log_carry_over(struct store_log *sync);

/* Around each transaction that writes. While the log is being cut nobody may: try is false then, enter waits.
 * *fresh: the log was cut whole, or never restarted since; its head need not be synced. */
bool store_log_try(struct store_log *sync, bool *fresh);
void store_log_enter(struct store_log *sync, bool *fresh);
void store_log_leave(struct store_log *sync);

#endif
