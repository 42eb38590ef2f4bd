/* What the coming days ask of the keeper, as plain values: evaluated by plan/, printed by show/, published by
 * wire/. Everything a figure was made of stands beside it, so that it can be asked for its sums. */
#ifndef LENTIC_MODEL_WEEK_H
#define LENTIC_MODEL_WEEK_H

#include "base/text.h"
#include "model/site.h"
#include "model/source_water.h"

/* What a change of water moves. All but the temperature are conserved when waters mix. */
enum week_axis { WEEK_EC, WEEK_GH, WEEK_KH, WEEK_NO3, WEEK_TEMP, WEEK_AXES };

enum quantity week_quantity(enum week_axis axis);

enum week_origin {
    WEEK_UNKNOWN,
    WEEK_PROBE,
    WEEK_HAND,
    WEEK_BATCH,    /* measured in the batch mixed last */
    WEEK_RECKONED, /* by the recipe, from the conductivity */
    WEEK_TARGET,   /* of the water: nothing was measured */
    WEEK_MIXED,    /* what the recipe gives: the water has no target of it */
    WEEK_PURE,     /* purified water holds none */
    WEEK_SOURCE,   /* what the water that it is made from brings along */
    WEEK_ROOM,     /* the room's temperature: water stands there */
    WEEK_BROUGHT,  /* to the tank's own temperature: the room's is not known */
};

const char *week_origin_name(enum week_origin o); /* "probe"; "" when not known */

struct week_value {
    double value; /* NaN: not known */
    enum week_origin origin;
    utc_t t; /* UTC_NONE */
};

enum week_reason {
    WEEK_CALENDAR,
    WEEK_OFF_TARGET, /* further from its water than may be, or out of the animals' band */
    WEEK_TREND,      /* will be, before the day is over */
    WEEK_NITRATE,
    WEEK_CONTINUED, /* a further stage of what a change before began */
    WEEK_REASON_COUNT
};

const char *week_reason_name(enum week_reason r); /* "calendar" */

/* What set the size of a change. */
enum week_bound { WEEK_BY_NEED, WEEK_BY_SHARE, WEEK_BY_STEP };

#define WEEK_STAGES_MAX 32

struct week_stage {
    utc_t at; /* the day: not before this time */
    double litres, share;
    enum week_reason reason;
    enum week_axis axis; /* of reason, unless it is the calendar */
    double limit;        /* that is passed; NaN */
    unsigned also;       /* bits of further axes that ask for it */
    double wanted;       /* share that the need alone asks for */
    enum week_bound bound;
    enum week_axis bound_axis;                  /* WEEK_BY_STEP */
    double before[WEEK_AXES], after[WEEK_AXES]; /* NaN: not known */
    double fresh_c;                             /* of the water that goes in; NaN */
    bool brought; /* it has to be brought to that first: as it stands the step would be too large */
};

enum week_topoff {
    WEEK_TOPOFF_UNKNOWN,
    WEEK_TOPOFF_SAID,
    WEEK_TOPOFF_NOTED,
    WEEK_TOPOFF_SEEN,
    WEEK_TOPOFF_RECKONED
};

const char *week_topoff_name(enum week_topoff t); /* "configured", "noted", "evaporation", "reckoned"; "" */

struct week_test {
    enum quantity quantity;
    utc_t last, due; /* last UTC_NONE: never; due: not before now */
    double every_d;
};

/* What is missing (and what to do about it), what was assumed for it, and what to beware of. */
enum week_remark_kind { WEEK_MISSING, WEEK_ASSUMED, WEEK_CAUTION };

#define WEEK_REMARKS_MAX 20
#define WEEK_REMARK_TEXT 208

struct week_remark {
    enum week_remark_kind kind;
    char text[WEEK_REMARK_TEXT];
};

const char *week_remark_name(enum week_remark_kind k); /* "missing", "assumed", "caution" */

struct week_tank {
    int tank;
    utc_t from;
    double days;
    struct week_value now[WEEK_AXES];   /* in the tank */
    struct week_value fresh[WEEK_AXES]; /* of the water that goes in */
    double per_day[WEEK_AXES];          /* trend that was counted on; 0 */
    double step[WEEK_AXES];             /* largest single step the animals are given; NaN */
    double most_share;
    struct span limit[WEEK_AXES]; /* beyond it a change is due */
    double every_d;               /* calendar; NaN: none */
    double litres_each;           /* of a change by the calendar */
    utc_t last_change;            /* UTC_NONE: none is known */
    struct week_stage stages[WEEK_STAGES_MAX];
    int stage_count;
    int later;           /* further stages of a correction under way, behind these days */
    double topoff_l_day; /* NaN: not known */
    enum week_topoff topoff_from;
    double reservoir_l, reservoir_lasts_d;   /* NaN: none, not known */
    utc_t reservoir_filled, reservoir_empty; /* UTC_NONE: not known */
    struct week_test tests[Q_COUNT];         /* due within these days */
    int test_count;
    unsigned doubted; /* bits of axes whose hand test does not belong to the EC beside it */
    struct week_remark remarks[WEEK_REMARKS_MAX];
    int remark_count;
};

/* "EC 262 µS/cm passes 253 µS/cm"; the words that a keeper reads behind a change. */
void week_reason_words(const struct week_tank *w, const struct week_stage *stage, struct text *out);

void week_remark(struct week_remark *remarks, int *count, enum week_remark_kind kind, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* --- the room --- */

#define WEEK_WATERS_MAX       32
#define WEEK_SALTS_MAX        128
#define WEEK_SOURCES_MAX      16
#define WEEK_PARTS_MAX        16
#define WEEK_CALIBRATIONS_MAX 256

struct week_part {
    int salt;
    double grams;
    double pure_g; /* that purified water would take */
};

/* Water of that kind that stands mixed already. */
enum week_stored { WEEK_STORED_NONE, WEEK_STORED_BATCH, WEEK_STORED_LEVEL };

const char *week_stored_name(enum week_stored s); /* "batch", "level"; "" for none */

struct week_water {
    int water;
    double litres;   /* that the changes take */
    double stored_l; /* of these stand mixed: the rest of the last batch, or by the container's level */
    enum week_stored stored_from;
    int64_t batch; /* WEEK_STORED_BATCH */
    int store;     /* WEEK_STORED_LEVEL: index into the site's stores */
    double mix_l;  /* to be mixed: parts and what to expect are of these */
    struct {
        double ec, gh, kh; /* of what it is made from; ec NaN: not known */
    } base;
    int tanks;
    utc_t first; /* wanted for the first time */
    bool mixed;  /* parts and what to expect are meaningful; else why says what is in the way */
    struct week_part parts[WEEK_PARTS_MAX];
    int part_count;
    double ec, ec_sd, gh, kh; /* to expect; ec NaN: not known */
    struct why why;
};

struct week_salt {
    int salt;
    double grams;   /* for these days */
    double left_g;  /* in the cupboard now; NaN: not known */
    double used_g;  /* since it was weighed, by the batches noted */
    double per_day; /* g, by the batches noted if there are enough, else by this plan; 0: none */
    bool by_batches;
    utc_t out; /* it is used up; UTC_NONE: not known, never */
    bool short_now;
};

struct week_source {
    int source;
    struct source_water water;
    double mix_l, topoff_l;
    int unknown_topoffs; /* tanks of which nobody knows what evaporates */
    double gives_l;      /* over these days, with a full container at the start; NaN: not said */
    double short_l;      /* most that is missing at a time; 0 */
    utc_t short_at;      /* for the first time; UTC_NONE */
};

struct week_calibration {
    int stream;
    utc_t last, due;
    double every_d;
    bool fresh; /* another device stands there, not calibrated yet */
};

struct week_room {
    utc_t from;
    double days;
    struct week_water waters[WEEK_WATERS_MAX];
    int water_count;
    struct week_salt salts[WEEK_SALTS_MAX]; /* that these days need, or that run out */
    int salt_count;
    struct week_source sources[WEEK_SOURCES_MAX];
    int source_count;
    struct week_calibration calibrations[WEEK_CALIBRATIONS_MAX];
    int calibration_count;
    int never_calibrated; /* probes that nobody has calibrated here */
    struct week_remark remarks[WEEK_REMARKS_MAX];
    int remark_count;
};

/* Nothing runs short: the source gives enough, and no salt is short for these days. */
bool week_is_feasible(const struct week_room *room);

#endif
