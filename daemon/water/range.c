#include "water/range.h"

#include <math.h>

enum status range_check(struct why *why, const char *what, double v, double lo, double hi, const char *unit)
{
    if (v >= lo && v <= hi)
        return STATUS_OK;
    const char *blank = unit[0] != '\0' ? " " : "";
    if (isnan(v))
        return why_say(why, STATUS_INVALID, "%s is not known", what);
    return why_say(why, STATUS_INVALID, "%s %.10g%s%s is outside %.10g to %.10g%s%s, where this holds", what,
                   v, blank, unit, lo, hi, blank, unit);
}
