/* A hand test beside what the probes say: do they disagree beyond both uncertainties, and which is to be
 * doubted? The one place for that question: the answer to a note and the watch on drifting probes ask here.
 */
#ifndef LENTIC_ENGINE_AGAINST_H
#define LENTIC_ENGINE_AGAINST_H

#include "base/text.h"
#include "engine/engine.h"

enum doubt { DOUBT_EITHER, DOUBT_PROBE, DOUBT_TEST };

/* Why: what speaks for the doubt. */
enum against_reason {
    AGAINST_UNCLEAR,
    AGAINST_PROBE_UNWELL,       /* an alert on the probe itself stands */
    AGAINST_PROBE_UNCALIBRATED, /* never calibrated here, or overdue */
    AGAINST_TWINS_AGREE,        /* two probes say the same */
    AGAINST_FRESH_CALIBRATION,  /* calibrated within the last days */
    AGAINST_RECIPE,             /* the other value is only an estimate by conductivity and recipe */
};

struct against {
    enum quantity quantity;
    double hand, hand_sd;
    double other, other_sd; /* of the probe around the time of the test, or an estimate */
    double off;             /* hand less other */
    bool disagree;          /* by more than twice both uncertainties together */
    enum doubt doubt;
    enum against_reason reason;
    double calibrated_days; /* of the probe at the time of the test; NaN: never here */
};

/* t: when the test was made. False: nothing to compare with at that time. Hardness without a probe is held
 * against the water's recipe at the measured conductivity (only for tests of now: recipes are not dated). */
bool against_probe(const struct engine *e, int tank, enum quantity q, double hand, double hand_sd, utc_t t,
                   struct against *out);

/* One or two sentences: both numbers, which to doubt and why, what to do. */
void against_words(const struct against *a, struct text *out);

#endif
