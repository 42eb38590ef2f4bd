/* What stands at a place: the device there since when, and the calibrations by date, so that each reading is
 * reckoned with the one of its time. Place and device are apart: another device continues the history with
 * calibrations of its own. */
#ifndef LENTIC_ENGINE_FITTING_H
#define LENTIC_ENGINE_FITTING_H

#include "base/pack.h"
#include "model/calib.h"
#include "model/sample.h"

#define FITTING_CALIBS 10 /* kept at hand, and can be taken back one by one but for the oldest */
#define FITTING_SURE   3  /* messages in a row with another device before it counts as exchanged */

struct fitting {
    struct calib calibs[FITTING_CALIBS]; /* by date, the one in force last; the first may be as configured */
    int32_t calib_count;
    char device[DEVICE_MAX]; /* "": not known */
    utc_t device_since;      /* UTC_NONE: not known, or since ever */
    char next[DEVICE_MAX];   /* another device that was heard, "": none */
    int32_t next_count;
    utc_t next_since;
};

void fitting_init(struct fitting *f, const struct calib *configured);

const struct calib *fitting_calib(const struct fitting *f); /* in force */
/* The one before that, NULL. */
const struct calib *fitting_calib_before(const struct fitting *f);
const struct calib *fitting_calib_at(const struct fitting *f, utc_t t);

/* By date; of the same time again: replaced. When there is no more room the oldest goes. */
void fitting_calibrate(struct fitting *f, const struct calib *c);
/* Takes the newest back. False when there is none to take back. */
bool fitting_undo(struct fitting *f);
/* Only what is configured holds. */
void fitting_forget(struct fitting *f, const struct calib *configured);

/* How an electrode's slope changed over the device's calibrations that are kept, in per cent of the ideal
 * slope a month; NaN below two of them, or below ten days. *slope_percent: of the last. */
double fitting_slope_month(const struct fitting *f, double *slope_percent);

/* Was the device exchanged and never calibrated since? */
bool fitting_is_fresh(const struct fitting *f);

/* A message named its device. True when it is another one now, for sure, since *since. */
bool fitting_hear(struct fitting *f, const char *device, utc_t t, utc_t *since);
void fitting_assign(struct fitting *f, const char *device, utc_t since);

void fitting_visit(struct fitting *f, struct pack *p, const struct calib *configured);

#endif
