/* The sums behind a tank's week, so that nothing in it has to be believed: values with where they come from,
 * limits, the mass balance of each stage, top-off and reservoir, tests. Of the room: show/week_sums_room. */
#ifndef LENTIC_SHOW_WEEK_SUMS_H
#define LENTIC_SHOW_WEEK_SUMS_H

#include "show/week_page.h"

/* index: into page->tanks. */
void week_sums_tank(const struct week_page *page, int index, struct text *out);

#endif
