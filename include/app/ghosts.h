/* Retained topics of an earlier run or configuration that nobody publishes any more: emptied, once there is a
 * link and room for it. */
#ifndef LENTIC_APP_GHOSTS_H
#define LENTIC_APP_GHOSTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define GHOSTS_TOPIC_MAX 384

typedef bool ghosts_send(void *context, const char *topic, const char *payload, size_t n, bool retain,
                         uint32_t expiry_s);

/* ghosts, ours: topics, one a line. Empties those of ghosts that are not ours; what could not be sent stays
 * in ghosts. True when none is left. Out of memory ends the process. */
bool ghosts_withdraw(char *ghosts, const char *ours, ghosts_send *send, void *context);

/* Both lists, each topic once; NULL when there is none. The caller frees. */
char *ghosts_join(const char *a, const char *b);

/* At a new connection: what was emptied on the one before is emptied once more, for that one may have been
 * dying, or the broker may have died and remembers what was before. Both lists belong to the caller, NULL:
 * empty; withdrawn is only touched here. Out of memory ends the process. */
void ghosts_turn(char **ghosts, char **withdrawn);

#endif
