/* The sums behind the figures of a week, line by line, so that each can be reckoned again by hand. */
#ifndef LENTIC_SHOW_WEEK_SUMS_H
#define LENTIC_SHOW_WEEK_SUMS_H

#include "show/week_page.h"

/* tank: index into page->tanks. water, salt, source: into the site's. */
void week_sums_tank(const struct week_page *page, int tank, struct text *out);
void week_sums_water(const struct week_page *page, int water, struct text *out);
void week_sums_salt(const struct week_page *page, int salt, struct text *out);
void week_sums_source(const struct week_page *page, int source, struct text *out);

#endif
