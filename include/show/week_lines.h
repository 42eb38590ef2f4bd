/* How the page and the sums of a week lay out a line: a day or a name in front, words that wrap below
 * themselves. For the files of this layer. */
#ifndef LENTIC_SHOW_WEEK_LINES_H
#define LENTIC_SHOW_WEEK_LINES_H

#include "show/week_page.h"

#define WEEK_LINES_DAY   10  /* columns of the day */
#define WEEK_LINES_WORDS 768 /* bytes of one line's words */

int week_lines_columns(const struct week_page *page);

/* "today", or as page->day says; buf is returned. */
const char *week_lines_day(const struct week_page *page, utc_t t, char *buf, size_t cap);

void week_lines_put(const struct week_page *page, const char *day, const char *words, struct text *out);

/* Once: sets *begun. */
void week_lines_heading(struct text *out, bool *begun, const char *title);

#endif
