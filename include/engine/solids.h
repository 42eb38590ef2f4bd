/* Dissolved solids of one tank understood: steps (water changes, batches), the trend between them, and what
 * makes it climb or fall. Works on the conductivity at 25 degrees in bins of 5 min (two days) and 1 h (three
 * weeks), and on the level where it is measured. */
#ifndef LENTIC_ENGINE_SOLIDS_H
#define LENTIC_ENGINE_SOLIDS_H

#include "base/pack.h"
#include "engine/window.h"
#include "model/site.h"

#define SOLIDS_STEPS 8

struct solids_step {
    utc_t t;
    double before, after; /* uS/cm */
};

struct solids {
    struct solids_step steps[SOLIDS_STEPS]; /* newest last */
    int32_t step_count;
    double slope_day; /* uS/cm per day since the last step; NaN: not known */
    double span_days; /* behind it */
    double noise;     /* one sd of a 5 min mean */
    int32_t cause;    /* enum solids_cause, last judged */
};

enum solids_cause {
    SOLIDS_UNKNOWN, /* cannot be judged now */
    SOLIDS_FINE,
    SOLIDS_TOPOFF_STOPPED,
    SOLIDS_TOPOFF_MINERALS,
    SOLIDS_TOPOFF_OVER,
    SOLIDS_LEAK,
    SOLIDS_WASTE,
    SOLIDS_PROBE_DRIFTS,
};

struct solids_view {
    const struct window *ec_day, *ec_days;       /* NULL: not measured */
    const struct window *level_day, *level_days; /* NULL: not measured */
    bool lid;
};

void solids_init(struct solids *s);

/* Once every ten minutes. True when a new step was recognised: it is the last of steps. */
bool solids_look(struct solids *s, const struct solids_view *view, utc_t now);

enum solids_cause solids_judge(struct solids *s, const struct solids_view *view, utc_t now);

/* The last step, NULL when none is known. */
const struct solids_step *solids_last_step(const struct solids *s);

void solids_visit(struct solids *s, struct pack *p);

#endif
