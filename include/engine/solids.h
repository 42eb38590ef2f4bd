/* Dissolved solids of one tank understood: steps (water changes, top-offs, batches), how they creep between
 * and over the steps, and what makes them climb or fall. Works on the conductivity at 25 degrees in bins of
 * 5 min (two days) and 1 h (three weeks), freed of what the water's temperature still does to it, and on the
 * level where that is measured.
 *
 * A creep is judged against the tank's own past: the rise over the lowest of the last six days must pass what
 * such rises used to be. So a tank that is topped off every third day, or one that climbs from change to
 * change, is no news. */
#ifndef LENTIC_ENGINE_SOLIDS_H
#define LENTIC_ENGINE_SOLIDS_H

#include "base/pack.h"
#include "engine/window.h"
#include "model/site.h"

#define SOLIDS_STEPS 12

struct solids_step {
    utc_t t;              /* it was over by then */
    double before, after; /* uS/cm */
    bool announced;       /* in a service window, or noted as a change */
};

/* How far something has crept one way. Shares of the conductivity, or mm of level. */
struct creep {
    double rise;  /* over the least of the last six days */
    double usual; /* largest such rise before this one began; NaN: too little is known */
    double hours; /* since it began */
    double past;  /* hours known before */
    double slack; /* what the steps taken out of it may have left */
    double wait;  /* what it may be while nobody has topped off; 0: that is automatic, or usual tells */
};

struct solids {
    struct solids_step steps[SOLIDS_STEPS]; /* newest last */
    int32_t step_count;
    double noise;      /* one sd of a 5 min mean, uS/cm; NaN: not known */
    double temp_share; /* per kelvin: what the probe's own compensation leaves; 0: nothing to see */
    double temp_ref_c; /* corrected to this temperature */
    struct creep climb, sink, level_sink;
    bool sinks_along;           /* from its begin to its end, not at once */
    bool level_along;           /* the same of the level */
    bool level_usual_low;       /* it stood as low before this sinking */
    double slope_day, slope_sd; /* share a day of the creep; NaN: not known */
    double span_days;           /* behind it */
    double today_day, today_sd; /* the same since the last step, at most over a day */
    double hour_noise;          /* one sd of an hour's mean, as a share; NaN: not known */
    double block_noise;         /* one sd of a mean over four hours, as a share; NaN: not known */
    double level_usual_mm_day;  /* by which the level falls when nothing is done; NaN: not known */
    double usual_day;           /* share a day by which it climbs when nothing is done; NaN: not known */
    double evaporation_day;     /* share of the water a day: by the level, else reckoned; NaN */
    double evaporation_most;    /* as much as it may well be */
    double air;    /* what this tank was seen to lose, over what is reckoned; NaN: it shows nothing */
    int32_t teeth; /* top-offs that the conductivity showed */
    double answer; /* share of the expected fall that the last announced change brought; NaN */
    utc_t service_begin, service_end; /* last window, until its step is known; UTC_NONE: none waits */
    utc_t climbs_since;               /* beyond what is usual; UTC_NONE: it does not */
    int32_t cause;                    /* enum solids_cause, last judged */
};

enum solids_cause {
    SOLIDS_UNKNOWN, /* cannot be judged now, or neither calm nor sure */
    SOLIDS_FINE,
    SOLIDS_TOPOFF_STOPPED,
    SOLIDS_TOPOFF_MINERALS,
    SOLIDS_TOPOFF_OVER,
    SOLIDS_LEAK,
    SOLIDS_WASTE,
    SOLIDS_PROBE_DRIFTS,
};

/* What hand tests since the creep began say of it, beside one from before. */
enum solids_witness {
    WITNESS_NONE,
    WITNESS_PROBE, /* the probe creeps, the water does not */
    WITNESS_WATER,
};

struct solids_view {
    const struct window *ec_day, *ec_days;       /* NULL: not measured */
    const struct window *temp_day, *temp_days;   /* NULL: not measured */
    const struct window *level_day, *level_days; /* NULL: not measured */
    double volume_l;                             /* NaN: not known */
    bool lid, by_hand;                           /* topped off */
    double topoff_share; /* of the water a day, as the keeper says; NaN: by hand, or not said */
    double room_c;       /* NaN: not measured */
    double air;          /* what other tanks of the room lose, over what is reckoned; NaN: not known */
    double change_share; /* of the water, in a usual change; NaN: not known */
    double target_ec;    /* of the tank's water; NaN: not known */
    double ec_hi;        /* the animals' band; NaN: open */
    double ec_drift;     /* as far above its target as the keeper lets it be; NaN: not said */
    bool doubted;        /* the conductivity probe is said to drift */
    bool mates_climb;    /* most other tanks of the same water climb too */
    bool sours;          /* pH goes down beyond what it used to, and not in the other tanks */
    enum solids_witness hand, hand_sink; /* of a climb, of a sinking */
};

void solids_init(struct solids *s);

/* The tank itself shows nothing of evaporation_day: it is reckoned, or what the keeper says. */
bool solids_evaporation_is_reckoned(const struct solids *s);

/* Once an hour: temperature's share, creeps, slopes. */
void solids_learn(struct solids *s, const struct solids_view *view, utc_t now);

/* Once every ten minutes. True when a new step was recognised: it is the last of steps. */
bool solids_look(struct solids *s, const struct solids_view *view, utc_t now);

enum solids_cause solids_judge(struct solids *s, const struct solids_view *view, utc_t now);

/* A service window was open from begin to end: the step that it made is learnt when the water has settled. */
void solids_served(struct solids *s, utc_t begin, utc_t end);

/* The last step was a change of water, as somebody noted; of that share of it, NaN: not said. */
void solids_told(struct solids *s, const struct solids_view *view, double share);

/* The last step, NULL when none is known. */
const struct solids_step *solids_last_step(const struct solids *s);

/* A step like those that were announced. False also when none ever was. */
bool solids_step_is_usual(const struct solids *s, const struct solids_step *step);

/* Least and greatest hourly mean over so many days before a time; NaN when nothing is known. */
struct span solids_range(const struct window *days, utc_t before, int days_back);

/* So plain that it takes the place of another cause that was named before. */
bool solids_replaces(const struct solids *s, const struct solids_view *view, enum solids_cause cause,
                     enum solids_cause other);

/* Named as the likelier, but a probe that drifts would look the same so far. */
bool solids_is_open(const struct solids *s, const struct solids_view *view, enum solids_cause cause);

/* Climbs, or sinks without steps, beyond what it used to. */
bool solids_climbs(const struct solids *s);
bool solids_sinks(const struct solids *s);

/* --- solids_learn.c: for the files that make up this one --- */

/* Conductivity of the last n bins, freed of temperature; NaN where nothing came. */
void solids_row(const struct solids *s, const struct window *ec, const struct window *temp, utc_t now,
                double *out, int n);

/* Of a tank as wide as high and half as long again; NaN: the volume is not known. */
double solids_depth_mm(double volume_l);

void solids_visit(struct solids *s, struct pack *p);

#endif
