#include "base/nearest.h"

#include <string.h>

#define WORD_MAX 63

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static unsigned least(unsigned a, unsigned b)
{
    return a < b ? a : b;
}

unsigned nearest_distance(const char *a, const char *b)
{
    unsigned rows[3][WORD_MAX + 1];
    unsigned *before = rows[0], *last = rows[1], *row = rows[2];
    size_t na = strnlen(a, WORD_MAX), nb = strnlen(b, WORD_MAX);

    for (size_t j = 0; j <= nb; j++)
        last[j] = (unsigned)j;
    for (size_t i = 1; i <= na; i++) {
        row[0] = (unsigned)i;
        for (size_t j = 1; j <= nb; j++) {
            char ca = lower(a[i - 1]), cb = lower(b[j - 1]);
            row[j] = least(least(last[j], row[j - 1]) + 1, last[j - 1] + (ca != cb));
            if (i > 1 && j > 1 && ca == lower(b[j - 2]) && lower(a[i - 2]) == cb)
                row[j] = least(row[j], before[j - 2] + 1);
        }
        unsigned *spare = before;
        before = last;
        last = row;
        row = spare;
    }
    return last[nb];
}

const char *nearest_of(const char *word, const char *const *known, size_t count)
{
    const char *best = NULL;
    unsigned best_distance = 0;
    for (size_t i = 0; i < count; i++) {
        unsigned d = nearest_distance(word, known[i]);
        if (best == NULL || d < best_distance) {
            best = known[i];
            best_distance = d;
        }
    }
    /* Over half of the letters wrong: chance, not a slip. */
    if (best != NULL && 2 * best_distance > strnlen(best, WORD_MAX) + 1)
        return NULL;
    return best;
}
