#include "base/span.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#include "base/number.h"

static const struct {
    char letter;
    double seconds;
} units[] = { { 's', 1 }, { 'm', 60 }, { 'h', 3600 }, { 'd', 86400 }, { 'w', 7 * 86400 } };

enum status span_parse(const char *text, double *seconds)
{
    size_t n = strlen(text);
    double factor = 1, v;
    for (size_t i = 0; n > 0 && i < sizeof units / sizeof units[0]; i++)
        if (text[n - 1] == units[i].letter) {
            factor = units[i].seconds;
            n--;
            break;
        }
    if (number_parse(text, n, NUMBER_PLAIN, &v) != STATUS_OK || !isfinite(v * factor))
        return STATUS_INVALID;
    *seconds = v * factor;
    return STATUS_OK;
}
