/* The un-ionised (poisonous) share of total ammonia.
 *
 * Source: Emerson, Russo, Lund & Thurston (1975), J. Fish. Res. Board Can. 32:2379: pKa = 0.09018 +
 * 2729.92/T, 0..50 degrees; fraction within 0.5 % of their tables. Valid: temp_c 0..50, ph 4..12. The
 * activity-corrected fraction (ec25 0..20000 uS/cm) is 5 to 10 % lower in real waters; rules use the
 * uncorrected one. */
#ifndef LENTIC_WATER_AMMONIA_H
#define LENTIC_WATER_AMMONIA_H

#include "base/status.h"

enum status ammonia_pka(double temp_c, double *pka, struct why *why) LENTIC_CHECKED;

/* Fraction 0..1 of the total. */
enum status ammonia_fraction(double ph, double temp_c, double *fraction, struct why *why) LENTIC_CHECKED;

enum status ammonia_fraction_corrected(double ph, double temp_c, double ec25_us_cm, double *fraction,
                                       struct why *why) LENTIC_CHECKED;

#endif
