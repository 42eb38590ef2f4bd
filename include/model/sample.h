/* What decoding makes of one value in one message: not yet judged. */
#ifndef LENTIC_MODEL_SAMPLE_H
#define LENTIC_MODEL_SAMPLE_H

#include <stdbool.h>
#include "base/times.h"

enum sample_kind {
    SAMPLE_VALUE,
    SAMPLE_MISSING, /* an explicit "no reading": a missing word, a missing code, null, a bare NaN */
    SAMPLE_SYNTAX,  /* not of the expected form */
    SAMPLE_UNIT,    /* the unit announced in the payload is not the configured one: refused, alarmed */
    SAMPLE_ABSENT,  /* a document with none of the members that its entry asks for: counted, no reading */
};

#define DEVICE_MAX 40 /* bytes of a device's id, with terminator; longer ones are cut */

struct sample {
    int stream; /* index into site->streams */
    enum sample_kind kind;
    double sent; /* the number as the probe sent it */
    double raw;  /* in the stored unit, before calibration and compensation; equal to sent for SAMPLE_VALUE in
                    the stored unit */
    utc_t claimed;           /* the payload's own time, UTC_NONE when it has none or cannot be read */
    bool zoned;              /* the claimed time named its zone or was an epoch number */
    const char *reason;      /* SAMPLE_SYNTAX and SAMPLE_UNIT: static text */
    char shown[40];          /* the offending piece of the payload, printable, cut */
    char device[DEVICE_MAX]; /* as the payload names it, printable; "" when it does not */
    double battery, link;    /* as sent, in the units of the configuration; NaN when not there */
};

#endif
