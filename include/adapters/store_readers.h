/* Who else reads the store, as the locks on its shared memory tell. Only the other files of the store include
 * this. */
#ifndef LENTIC_ADAPTERS_STORE_READERS_H
#define LENTIC_ADAPTERS_STORE_READERS_H

#include <stdbool.h>
#include <stddef.h>

/* The store at that path is open; -1: cannot be told. To be ended only when this process has the store open
 * no more: closing the file gives up all locks that it holds on it. */
int store_readers_watch(const char *path);
int store_readers_end(int readers); /* returns -1 */

/* "process 4711 (sqlite3)", or without the name where other users' processes are hidden; false: nobody else
 * reads at this moment, or it cannot be told. */
bool store_readers_tell(int readers, char *buf, size_t cap);

#endif
