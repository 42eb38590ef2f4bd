/* A value with its verdict: what is stored, shown and judged by rules. */
#ifndef LENTIC_MODEL_READING_H
#define LENTIC_MODEL_READING_H

#include <stdbool.h>
#include <stdint.h>
#include "base/times.h"

/* Flags after the public QARTOD manuals. */
enum flag {
    FLAG_NONE = 0,
    FLAG_GOOD = 1,
    FLAG_NOT_EVALUATED = 2,
    FLAG_SUSPECT = 3,
    FLAG_FAIL = 4,
    FLAG_MISSING = 9
};

enum gate_test {
    TEST_GAP,
    TEST_SYNTAX,
    TEST_GROSS,
    TEST_SPIKE,
    TEST_RATE,
    TEST_FLAT,
    TEST_ATTENUATED,
    TEST_TWIN,
    TEST_COUNT
};

const char *gate_test_name(enum gate_test test); /* "gap", "syntax", ... */

/* Flag per test, four bits each, TEST_GAP in the lowest. 0 = not applicable. Stored as one integer. */
typedef uint32_t verdict_t;

enum flag verdict_get(verdict_t v, enum gate_test test);
verdict_t verdict_set(verdict_t v, enum gate_test test, enum flag flag);

/* 9 if missing, else the first present of 4, 3, 1, 2 among syntax, gross, spike, rate, flat, attenuated. */
enum flag verdict_aggregate(verdict_t v, bool missing);

/* May this record enter limit rules, as far as is known now? Kept out: missing, syntax, gross 4, spike 4. */
bool verdict_usable_for_limits(verdict_t v, bool missing);

enum time_basis {
    TIME_OWN,       /* the payload's own time was believed */
    TIME_RECEIVED,  /* it had none */
    TIME_NOT_ZONED, /* it had one without a zone: receive time */
    TIME_FUTURE,    /* more than 120 s ahead: receive time, time flag 3 */
    TIME_OLD,       /* below the floor: receive time, time flag 3 */
    TIME_UNTRUSTED, /* receive time while the box's clock is not trusted */
    TIME_BASIS_COUNT
};

const char *time_basis_name(enum time_basis basis);

struct reading {
    int stream;
    utc_t t;
    double sent;  /* the number as sent; NaN when missing or syntax */
    double value; /* stored unit, calibrated and compensated; NaN when missing or syntax */
    verdict_t tests;
    enum flag flag;
    enum time_basis basis;
    bool late;    /* older than the newest of its stream: history only */
    bool revised; /* the same row again: its spike verdict has settled */
};

#endif
