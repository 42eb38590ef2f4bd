/* Chance that can be repeated: xoshiro256++ seeded by splitmix64 (Blackman & Vigna 2019, public domain
 * algorithms, written anew). One generator for each thing, so that one more tank does not change another. */
#ifndef LENTIC_REHEARSE_DICE_H
#define LENTIC_REHEARSE_DICE_H

#include <stdbool.h>
#include <stdint.h>

struct dice {
    uint64_t s[4];
};

/* Generators of one seed and different names are independent for all that matters here. */
struct dice dice_init(uint64_t seed, const char *name, uint64_t number);

double dice_unit(struct dice *d);                           /* 0 <= x < 1 */
double dice_between(struct dice *d, double lo, double hi);  /* lo <= x < hi */
double dice_normal(struct dice *d, double mean, double sd); /* sum of twelve: cut at 6 sd */
bool dice_chance(struct dice *d, double probability);
int dice_below(struct dice *d, int n); /* 0..n-1, n >= 1 */

#endif
