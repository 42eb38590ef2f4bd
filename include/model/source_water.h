/* What is known of the water that a source gives, as plain values: reckoned by plan/source_facts, published
 * by wire/encode_source, told by the board and the week. */
#ifndef LENTIC_MODEL_SOURCE_WATER_H
#define LENTIC_MODEL_SOURCE_WATER_H

#include "base/text.h"
#include "model/report.h"

/* Purified water above it counts as worn out where the configuration says nothing. Our own choice: a tenth of
 * the hardness that the softest kinds live in, and what a membrane that holds back 94 % makes of tap water of
 * 500 uS/cm; public guides of membrane makers call 90 to 95 % the time to change it. */
#define SOURCE_EXHAUSTED_EC 30.0
#define SOURCE_TEST_OLD_D   90.0 /* an analysis is of another season by then */

/* How EC moves. per_day NaN: not known. */
struct source_trend {
    double per_day, sd; /* uS/cm a day, one standard uncertainty */
    double span_d;      /* behind it */
};

/* What its probe says. */
struct source_live {
    struct value_report ec; /* a mean of its last hours; ORIGIN_NONE: no probe, or silent for long */
    struct source_trend trend;
};

#define SOURCE_LIVE_NONE                                                                                     \
    ((struct source_live){ { ORIGIN_NONE, NAN, UTC_NONE, FLAG_NONE, false, NAN, NAN, NAN }, { NAN, NAN, 0 } })

struct source_value {
    double value, sd;         /* sd NaN: not said */
    enum value_origin origin; /* ORIGIN_NONE: not known */
    utc_t t;
    double lo, hi; /* of all tests within a year */
    int tests;
};

enum source_wear {
    SOURCE_WEAR_UNKNOWN,
    SOURCE_STEADY,  /* no end in sight */
    SOURCE_WEARING, /* exhausted tells when */
    SOURCE_EXHAUSTED
};

const char *source_wear_name(enum source_wear w); /* "unknown", "steady", "wearing", "exhausted" */

struct source_water {
    int source; /* index into the site's sources */
    utc_t t;
    struct source_value values[Q_COUNT];
    double rejection, rejection_sd; /* share of the feed's EC that is held back; NaN: not both known */
    double feed_ec;                 /* NaN */
    utc_t feed_t;                   /* UTC_NONE */
    struct source_trend trend;
    bool trend_by_tests; /* not by a probe */
    double exhausted_ec; /* limit; NaN: not a purifying unit */
    enum source_wear wear;
    utc_t exhausted, early, late; /* UTC_NONE: not known; late alone: perhaps never. Four of five within */
};

/* "9.1 µS/cm; holds back 98.2 % of 512 µS/cm; rises by 0.31 µS/cm a day: 30 in about 68 days (50 to 110)".
 * Nothing is put when nothing is known. */
void source_water_words(const struct source_water *w, struct text *out);

#endif
