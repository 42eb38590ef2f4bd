/* The document of a source (BASE/source/ID): its water by probe and tests, what a purifying unit holds back,
 * when it will be worn out; and what a program that hears it takes from it. */
#ifndef LENTIC_WIRE_ENCODE_SOURCE_H
#define LENTIC_WIRE_ENCODE_SOURCE_H

#include "base/status.h"
#include "model/week.h"

/* live: what its probe says (SOURCE_LIVE_NONE: nothing); w and remarks: what was reckoned with it. */
void encode_source(const struct site *site, const struct source_live *live, const struct source_water *w,
                   const struct week_remark *remarks, int remark_count, struct text *out);

/* Members of the object that is open: rejection, trend, exhaustion. */
void encode_source_wear(const struct source_water *w, struct text *out);

/* What encode_source wrote of the probe, read back. STATUS_INVALID: not one of ours; *out is empty then. */
enum status encode_source_parse(const char *json, size_t n, struct source_live *out) LENTIC_CHECKED;

#endif
