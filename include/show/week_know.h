/* The part of a week's page on what to beware of, what was assumed and what is missing; what is alike of
 * several tanks is said once. For the files of this layer. */
#ifndef LENTIC_SHOW_WEEK_KNOW_H
#define LENTIC_SHOW_WEEK_KNOW_H

#include "show/week_page.h"

void week_know_put(const struct week_page *page, struct text *out);

#endif
