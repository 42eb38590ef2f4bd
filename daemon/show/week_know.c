#include "show/week_know.h"

#include <string.h>

#include "show/week_lines.h"
#include "show/width.h"

/* Of what was assumed only the value differs from tank to tank: the words before the colon say what it is. */
static bool says_alike(const struct week_remark *a, const struct week_remark *b)
{
    size_t n = strcspn(a->text, ":");
    if (a->kind != b->kind)
        return false;
    if (a->kind != WEEK_ASSUMED)
        return strcmp(a->text, b->text) == 0;
    return strncmp(a->text, b->text, n) == 0 && strcspn(b->text, ":") == n;
}

static bool is_said_with_several_values(const struct week_page *page, const struct week_remark *remark)
{
    for (int i = 0; i < page->tank_count; i++)
        for (int k = 0; k < page->tanks[i].remark_count; k++)
            if (says_alike(&page->tanks[i].remarks[k], remark) &&
                strcmp(page->tanks[i].remarks[k].text, remark->text) != 0)
                return true;
    return false;
}

static bool has_alike(const struct week_tank *w, const struct week_remark *remark)
{
    for (int i = 0; i < w->remark_count; i++)
        if (says_alike(&w->remarks[i], remark))
            return true;
    return false;
}

static void put_remark(const struct week_page *page, int first, const struct week_remark *remark,
                       struct text *out)
{
    char buf[2 * WEEK_LINES_WORDS];
    struct text words = text_over(buf, sizeof buf);
    int count = 0;
    for (int i = first; i < page->tank_count; i++)
        if (has_alike(&page->tanks[i], remark))
            text_printf(&words, "%s%s", count++ == 0 ? "" : " ", page->site->tanks[page->tanks[i].tank].id);
    if (is_said_with_several_values(page, remark))
        text_printf(&words, ": %.*s: assumed (--why tells what)", (int)strcspn(remark->text, ":"),
                    remark->text);
    else
        text_printf(&words, ": %s", remark->text);
    text_put(out, "  ");
    width_wrap(out, buf, week_lines_columns(page), 4, 2);
}

static void put_tank_remarks(const struct week_page *page, enum week_remark_kind kind, bool *begun,
                             struct text *out)
{
    for (int i = 0; i < page->tank_count; i++)
        for (int k = 0; k < page->tanks[i].remark_count; k++) {
            const struct week_remark *remark = &page->tanks[i].remarks[k];
            bool told = remark->kind != kind;
            for (int before = 0; before < i && !told; before++)
                told = has_alike(&page->tanks[before], remark);
            if (told)
                continue;
            week_lines_heading(out, begun, "To know");
            put_remark(page, i, remark, out);
        }
}

static bool is_of_tanks(const struct week_page *page, const struct week_remark *remark)
{
    for (int i = 0; i < page->tank_count; i++)
        if (has_alike(&page->tanks[i], remark))
            return true;
    return false;
}

void week_know_put(const struct week_page *page, struct text *out)
{
    static const enum week_remark_kind order[] = { WEEK_CAUTION, WEEK_ASSUMED, WEEK_MISSING };
    bool begun = false;
    for (size_t o = 0; o < sizeof order / sizeof *order; o++) {
        put_tank_remarks(page, order[o], &begun, out);
        for (int i = 0; i < page->room->remark_count; i++)
            if (page->room->remarks[i].kind == order[o] && !is_of_tanks(page, &page->room->remarks[i])) {
                week_lines_heading(out, &begun, "To know");
                text_put(out, "  ");
                width_wrap(out, page->room->remarks[i].text, week_lines_columns(page), 4, 2);
            }
    }
    if (page->room->never_calibrated > 0) {
        week_lines_heading(out, &begun, "To know");
        text_printf(out, "  %d probe%s never calibrated here; nothing reminds of them\n",
                    page->room->never_calibrated, page->room->never_calibrated == 1 ? " was" : "s were");
    }
}
