/* A span as people type it. */
#ifndef LENTIC_BASE_SPAN_H
#define LENTIC_BASE_SPAN_H

#include "base/status.h"

/* Seconds of "90", "30s", "15m", "6h", "2d", "1w", also with a fraction or a minus: "1.5h". STATUS_INVALID
 * (and *seconds untouched) for anything else. */
enum status span_parse(const char *text, double *seconds) LENTIC_CHECKED;

#endif
