/* Units in and out. Everything is stored and computed in one unit a kind; any other accepted spelling is a
 * straight line to it: stored = gain * x + offset.
 *
 * Spellings: UCUM (case sensitive) where it has the unit, and the plain ones that devices send. Blanks and
 * underscores do not matter, both code points of the micro sign and the look-alikes of the degree sign are
 * read as one, "/l" as "/L". The same spelling may mean different things in different kinds ("mg/L" is mass
 * in solution, but calcium carbonate for a hardness), so the kind is always named by the caller.
 *
 * Sources: UCUM 2.1; SI brochure, 9th edition; 1 dH = 10 mg/L CaO: 0.178326 mmol/L Ca + Mg, 0.356652 meq/L,
 * 17.848 mg/L as CaCO3 (DIN 38409-6). Gains are exact or good to 5 digits (hardness). */
#ifndef LENTIC_WATER_UNITS_H
#define LENTIC_WATER_UNITS_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"

enum unit_kind {
    UNIT_NONE,      /* a bare number: pH, wet or dry, a count */
    UNIT_TEMP,      /* degrees Celsius */
    UNIT_EC,        /* uS/cm */
    UNIT_MASS_CONC, /* mg/L */
    UNIT_GH,        /* German degrees of general hardness (Ca + Mg; mmol/L counts ions) */
    UNIT_KH,        /* German degrees of carbonate hardness (alkalinity; mmol/L is acid capacity = meq/L) */
    UNIT_CALCIUM,   /* German degrees of calcium; plain mg/L is refused: of calcium or of its carbonate? */
    UNIT_AMOUNT,    /* mmol/L of one ion */
    UNIT_DOSE,      /* g/L of a salt */
    UNIT_VOLUME,    /* L */
    UNIT_MASS,      /* g */
    UNIT_LENGTH,    /* mm */
    UNIT_VOLTAGE,   /* mV */
    UNIT_POWER,     /* W */
    UNIT_FLOW,      /* L/min */
    UNIT_PRESSURE,  /* hPa */
    UNIT_TIME,      /* ms */
    UNIT_RATIO,     /* 1 */
    UNIT_KIND_COUNT
};

struct unit {
    double gain, offset;
    enum unit_kind kind;
};

/* The stored unit of the kind: gain 1, offset 0; and how it is written for people ("µS/cm", "°dH"; "" for
 * bare numbers). */
struct unit unit_stored(enum unit_kind kind);
const char *unit_stored_name(enum unit_kind kind);

/* Finds the unit that the name spells for the kind. NULL and "" mean the stored unit. STATUS_NONE (and *out
 * untouched) when the kind has no such unit. */
enum status unit_find(const char *name, enum unit_kind kind_wanted, struct unit *out) LENTIC_CHECKED;

/* As unit_find on n bytes; why (may be NULL) names the nearest spelling, or the kind the unit belongs to. */
enum status unit_find_n(const char *name, size_t n, enum unit_kind kind_wanted, struct unit *out,
                        struct why *why) LENTIC_CHECKED;

double unit_to_stored(struct unit u, double x);
double unit_from_stored(struct unit u, double stored);

/* Whether two units are one and the same line. Announced and configured units are compared with it. */
bool unit_same(struct unit a, struct unit b);

/* The index-th accepted spelling of the kind, NULL behind the last; the first spells the stored unit. */
const char *unit_spelling(enum unit_kind kind, size_t index);

#endif
