/* One sentence for every input that is out of the range in which a formula holds. */
#ifndef LENTIC_WATER_RANGE_H
#define LENTIC_WATER_RANGE_H

#include "base/status.h"

/* STATUS_OK when lo <= v <= hi; otherwise (also for NaN) STATUS_INVALID and a sentence that names what, the
 * value, the range and the unit ("" for none). why may be NULL. */
enum status range_check(struct why *why, const char *what, double v, double lo, double hi,
                        const char *unit) LENTIC_CHECKED;

#endif
