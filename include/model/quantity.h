/* The one table of quantities: name, unit, hard range, decimals and the judgement limits that suit cheap
 * probes. A new quantity is one row in model/quantity.c and one name here. */
#ifndef LENTIC_MODEL_QUANTITY_H
#define LENTIC_MODEL_QUANTITY_H

#include <stdbool.h>
#include <stddef.h>
#include "water/units.h"

enum quantity {
    Q_TEMP, /* degrees Celsius */
    Q_EC,   /* microsiemens per centimetre at 25 degrees Celsius */
    Q_TDS,  /* mg/L */
    Q_PH,
    Q_GH,    /* German degrees of general hardness */
    Q_KH,    /* German degrees of carbonate hardness */
    Q_LEVEL, /* mm of water above the probe's zero */
    Q_DO,    /* mg/L of oxygen */
    Q_ORP,   /* mV */
    Q_POWER, /* W */
    Q_FLOW,  /* L/min */
    Q_LEAK,  /* 0 dry, 1 wet */
    Q_NO2,
    Q_NO3,
    Q_TAN, /* total ammonia nitrogen, mg/L */
    Q_PO4,
    Q_CA,
    Q_MG,
    Q_CL2,
    Q_COUNT
};

/* Judgement limits of one stream of readings, QUALITY.md's names. NaN switches a level off. In the stored
 * unit; times in seconds; rate in units per second. */
struct gate_limits {
    double gap_suspect_s, gap_fail_s;
    double fail_lo, fail_hi;
    double suspect_lo, suspect_hi;
    double spike_suspect, spike_fail;
    double rate_suspect, rate_fail;
    double flat_tol, flat_suspect_s, flat_fail_s;
    double attenuated_window_s, attenuated_min_obs, attenuated_suspect, attenuated_fail;
    double twin_suspect, twin_fail, pair_age_s;
};

struct quantity_info {
    const char *name;  /* "temp": as in the configuration, topics and the store */
    const char *title; /* "temperature": for people */
    const char *unit;  /* as shown and published */
    enum unit_kind kind;
    double hard_lo, hard_hi; /* nothing outside can be true */
    int decimals;
    double reading_sd; /* noise of a cheap probe, one standard deviation */
    double deadband;   /* usual one of limit alerts */
    struct gate_limits gate;
    double on_delay_s; /* least one of limit alerts: what shakes by nature is not believed at once */
};

const struct quantity_info *quantity_info(enum quantity q);

/* Q_COUNT when there is no such name. */
enum quantity quantity_find(const char *name, size_t n);

#endif
