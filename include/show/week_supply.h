/* The part of a week's page on what is to be there: waters to mix with their grams, source water, top-off,
 * salts. For the files of this layer. */
#ifndef LENTIC_SHOW_WEEK_SUPPLY_H
#define LENTIC_SHOW_WEEK_SUPPLY_H

#include "show/week_page.h"

void week_supply_put(const struct week_page *page, struct text *out);

/* "3.0 L from ro and 1.0 L from tap"; nothing for a water that names no source. */
void week_supply_from(const struct site *site, int water, double litres, struct text *out);

#endif
