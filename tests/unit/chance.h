/* Numbers by chance that are the same in each run. */
#ifndef LENTIC_TESTS_CHANCE_H
#define LENTIC_TESTS_CHANCE_H

#include <stdint.h>

static uint64_t seed = 20260418;

/* Evenly spread between lo and hi. */
static inline double random_between(double lo, double hi)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return lo + (hi - lo) * (double)(seed >> 11) * 0x1p-53;
}

#endif
