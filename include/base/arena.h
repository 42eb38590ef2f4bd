/* One block from the heap, handed out in pieces, freed at once. Sized from the configuration at start-up. */
#ifndef LENTIC_BASE_ARENA_H
#define LENTIC_BASE_ARENA_H

#include <stddef.h>

struct arena_block;
struct arena {
    struct arena_block *head;
    size_t used; /* bytes handed out, for the record */
};

/* Zeroed, aligned for any type; the pieces live until arena_fini. Aborts when the machine has no memory left:
 * allocation happens at start-up only. count 0 gives a valid pointer. */
void *arena_take(struct arena *a, size_t count, size_t size);
char *arena_text(struct arena *a, const char *s, size_t n);
void arena_fini(struct arena *a);

#endif
