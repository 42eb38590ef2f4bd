#include "show/week_lines.h"

#include <stdio.h>
#include <string.h>

#include "show/width.h"

#define COLUMNS_LEAST 60

int week_lines_columns(const struct week_page *page)
{
    return page->columns < COLUMNS_LEAST ? COLUMNS_LEAST : page->columns;
}

const char *week_lines_day(const struct week_page *page, utc_t t, char *buf, size_t cap)
{
    char today[WEEK_DAY_MAX];
    (void)page->day(t, buf, cap);
    if (strcmp(buf, page->day(page->room->from, today, sizeof today)) == 0)
        (void)snprintf(buf, cap, "today");
    return buf;
}

void week_lines_put(const struct week_page *page, const char *day, const char *words, struct text *out)
{
    text_put(out, "  ");
    width_put(out, day, WEEK_LINES_DAY, false);
    text_put(out, "  ");
    width_wrap(out, words, week_lines_columns(page), WEEK_LINES_DAY + 4, WEEK_LINES_DAY + 4);
}

void week_lines_heading(struct text *out, bool *begun, const char *title)
{
    if (!*begun)
        text_printf(out, "\n%s\n", title);
    *begun = true;
}
