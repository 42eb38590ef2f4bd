/* What the engine knows about a tank, as plain values: the source of every document, board and page. */
#ifndef LENTIC_MODEL_REPORT_H
#define LENTIC_MODEL_REPORT_H

#include "model/forecast.h"
#include "model/reading.h"
#include "model/sample.h"
#include "model/site.h"

enum value_origin { ORIGIN_NONE, ORIGIN_PROBE, ORIGIN_HAND, ORIGIN_DERIVED };

const char *value_origin_name(enum value_origin o);

/* Latest value of one quantity. Derived values carry the age and flag of their weakest input. */
struct value_report {
    enum value_origin origin; /* ORIGIN_NONE: never measured, nothing else is meaningful */
    double value;
    utc_t t;
    enum flag flag;
    bool stale;
    double per_day;        /* robust trend, unit per day; NaN when not known */
    double day_lo, day_hi; /* over the rolling day; NaN when not known */
};

enum derived {
    DERIVED_CO2,        /* mg/L */
    DERIVED_CO2_SWING,  /* mg/L over the rolling day */
    DERIVED_OXYGEN_SAT, /* mg/L at saturation */
    DERIVED_NH3,        /* mg/L un-ionised ammonia */
    DERIVED_CALCITE_SI,
    DERIVED_GH_EST, /* dH from EC and recipe */
    DERIVED_KH_EST,
    DERIVED_TDS, /* mg/L by the water's own factor */
    DERIVED_COUNT
};

const char *derived_name(enum derived d);
const char *derived_unit(enum derived d);

/* Where the factor of DERIVED_TDS comes from: the configuration's for that water, the recipe's salts, or only
 * the usual one. */
enum tds_factor { TDS_FACTOR_USUAL, TDS_FACTOR_WATER, TDS_FACTOR_RECIPE };

const char *tds_factor_name(enum tds_factor f); /* "usual", "water", "recipe" */

struct heat_report {
    double tau_h;                /* free-cooling time constant; NaN: not yet learnt */
    double band_lo_c, band_hi_c; /* learnt thermostat band; NaN */
    double heater_w;             /* inferred or measured power now; NaN */
    double duty;                 /* share of the last day with the heater giving heat; NaN */
    double learnt_h;             /* hours of history behind it */
};

/* How the dissolved solids move when nobody does anything, cut at the steps of changes. */
struct solids_report {
    double ec_per_day, ec_per_day_sd; /* uS/cm; NaN: not known */
    double span_days;                 /* behind it; 0 */
    double evaporation_day;           /* share of the water a day; NaN */
    bool evaporation_reckoned;        /* for still water in such a room, not by the level: half or double */
};

struct tank_report {
    int tank;
    utc_t t; /* of the report */
    struct value_report values[Q_COUNT];
    struct value_report derived[DERIVED_COUNT];
    double derived_sd[DERIVED_COUNT]; /* one standard uncertainty; NaN */
    double tds_factor;                /* mg/L per uS/cm, of DERIVED_TDS; NaN */
    enum tds_factor tds_factor_from;
    struct heat_report heat;
    struct solids_report solids;
    struct forecast forecast;
    bool in_service; /* a service window is open */
    utc_t service_until;
    utc_t last_change; /* last water change seen or told */
    double last_step_ec;
};

/* Health of one stream. */
struct probe_report {
    int stream;
    bool seen;
    utc_t last_t;
    double last_value;
    enum flag flag;
    bool stale;
    double cadence_s;   /* learnt or configured; NaN */
    double good_share;  /* over the last day; NaN */
    struct calib calib; /* in force */
    uint32_t received, missing, rejected, duplicates, conflicts, late, retained, absent;
    char device[DEVICE_MAX]; /* "" not known */
    utc_t device_since;
    double slope_month;   /* of an electrode: per cent of the ideal slope a month; NaN */
    bool fresh;           /* exchanged and not calibrated since */
    double battery, link; /* in the configured units, NaN */
    char last_reason[64], last_sample[40];
};

#endif
