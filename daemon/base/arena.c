#include "base/arena.h"

#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK_BYTES ((size_t)1024 * 1024) /* large: fresh pages, which cost nothing until they are used */
#define ALIGNMENT   alignof(max_align_t)

struct arena_block {
    struct arena_block *next;
    size_t cap, used;
    alignas(max_align_t) unsigned char bytes[];
};

/* calloc hands out zeroed memory, and a piece is never handed out twice. */
static struct arena_block *new_block(struct arena_block *next, size_t need)
{
    size_t cap = need > BLOCK_BYTES ? need : BLOCK_BYTES;
    struct arena_block *block = cap > SIZE_MAX - sizeof *block ? NULL : calloc(1, sizeof *block + cap);
    if (block == NULL)
        abort();
    block->next = next;
    block->cap = cap;
    return block;
}

void *arena_take(struct arena *a, size_t count, size_t size)
{
    if (size != 0 && count > (SIZE_MAX - ALIGNMENT) / size)
        abort();
    size_t need = (count * size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
    if (need == 0)
        need = ALIGNMENT;
    if (a->head == NULL || a->head->cap - a->head->used < need)
        a->head = new_block(a->head, need);
    void *piece = a->head->bytes + a->head->used;
    a->head->used += need;
    a->used += need;
    return piece;
}

char *arena_text(struct arena *a, const char *s, size_t n)
{
    char *copy = arena_take(a, n + 1, 1);
    if (n > 0)
        memcpy(copy, s, n);
    return copy;
}

void arena_fini(struct arena *a)
{
    while (a->head != NULL) {
        struct arena_block *block = a->head;
        a->head = block->next;
        free(block);
    }
    a->used = 0;
}
