/* The keeper's week on a page: what to change, weigh, fill, top off, test, calibrate and buy, and when; below
 * it what was assumed and what is missing. */
#ifndef LENTIC_SHOW_WEEK_PAGE_H
#define LENTIC_SHOW_WEEK_PAGE_H

#include "model/week.h"

#define WEEK_DAY_MAX 32

struct week_page {
    const struct site *site;
    const struct week_tank *tanks; /* one for each tank of the site, or of those shown */
    int tank_count;
    const struct week_room *room;
    const char *(*day)(utc_t t, char *buf, size_t cap); /* "Sun 22 Nov", local */
    int columns;                                        /* of the terminal; at least 60 are used */
};

void week_page_put(const struct week_page *page, struct text *out);

#endif
