#include "rehearse/dice.h"

#include <string.h>

#include "base/checksum.h"

static uint64_t splitmix(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static uint64_t rotate(uint64_t x, int k)
{
    return (x << k) | (x >> (64 - k));
}

static uint64_t next(struct dice *d)
{
    uint64_t *s = d->s;
    uint64_t result = rotate(s[0] + s[3], 23) + s[0];
    uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate(s[3], 45);
    return result;
}

struct dice dice_init(uint64_t seed, const char *name, uint64_t number)
{
    uint64_t state = seed ^ checksum_fnv(name, strlen(name));
    state = splitmix(&state) ^ (number * UINT64_C(0xd1342543de82ef95));
    struct dice d;
    for (int i = 0; i < 4; i++)
        d.s[i] = splitmix(&state);
    return d;
}

double dice_unit(struct dice *d)
{
    return (double)(next(d) >> 11) * 0x1.0p-53;
}

double dice_between(struct dice *d, double lo, double hi)
{
    return lo + (hi - lo) * dice_unit(d);
}

double dice_normal(struct dice *d, double mean, double sd)
{
    double sum = 0;
    for (int i = 0; i < 12; i++)
        sum += dice_unit(d);
    return mean + sd * (sum - 6);
}

bool dice_chance(struct dice *d, double probability)
{
    return dice_unit(d) < probability;
}

int dice_below(struct dice *d, int n)
{
    return (int)(dice_unit(d) * n);
}
