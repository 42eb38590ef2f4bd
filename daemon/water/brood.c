#include "water/brood.h"

#include <string.h>
#include <strings.h>

#include "water/range.h"

#define T0_C 13.3

enum brood_kind brood_kind_of(const char *id)
{
    static const char *const words[] = { "neocaridina", "caridina" };
    for (int i = 0; i < 2; i++)
        if (strncasecmp(id, words[i], strlen(words[i])) == 0)
            return (enum brood_kind)i;
    return BROOD_UNKNOWN;
}

enum status brood_eval(enum brood_kind kind, double temp_c, struct brood *out, struct why *why)
{
    static const double degree_days[] = { 224, 285 }, share[] = { 0.12, 0.20 };
    if (kind == BROOD_UNKNOWN)
        return why_say(why, STATUS_NONE, "how long these animals carry their eggs is not known here");
    enum status st = range_check(why, "temperature", temp_c, 18, 32, "°C");
    if (st != STATUS_OK)
        return st;
    out->days = degree_days[kind] / (temp_c - T0_C);
    out->sd = share[kind] * out->days;
    return STATUS_OK;
}
