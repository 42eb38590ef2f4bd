/* The sums behind the room's week: of a water (litres, what stands mixed, what it is made from, grams, what
 * to expect), a salt (grams, the cupboard), a source (litres, its water, when a unit is worn out). What these
 * days do not ask for says so. */
#ifndef LENTIC_SHOW_WEEK_SUMS_ROOM_H
#define LENTIC_SHOW_WEEK_SUMS_ROOM_H

#include "show/week_page.h"

/* water, salt, source: indices into the site's. */
void week_sums_water(const struct week_page *page, int water, struct text *out);
void week_sums_salt(const struct week_page *page, int salt, struct text *out);
void week_sums_source(const struct week_page *page, int source, struct text *out);

#endif
