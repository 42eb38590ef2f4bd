/* The known word that a mistyped one was meant to be. */
#ifndef LENTIC_BASE_NEAREST_H
#define LENTIC_BASE_NEAREST_H

#include <stddef.h>

/* Insertions, deletions, replacements and swaps of neighbours that turn a into b (optimal string alignment);
 * letter case does not count. Words longer than 63 bytes are compared by their first 63. */
unsigned nearest_distance(const char *a, const char *b);

/* The known word (count of them) with the least distance to word, the first of equals. NULL when count is 0
 * or when even the best has so little in common that to name it would mislead. */
const char *nearest_of(const char *word, const char *const *known, size_t count);

#endif
