#include "show/report_page.h"

#include <math.h>
#include <string.h>

#include "show/html.h"

#define CLOCK_MAX 48
#define WHY_MAX   1024

/* --- names and times --- */

void report_page_anchor(const struct site *site, int place, struct text *out)
{
    for (const char *s = site->places[place].text; *s != '\0'; s++)
        text_put_n(out, *s == '/' ? "-" : s, 1);
}

void report_page_name(const struct site *site, int place, struct text *out)
{
    const struct place *p = &site->places[place];
    const char *name = p->tank >= 0 ? site->tanks[p->tank].name : p->name;
    if (p->kind == PLACE_SERVICE) {
        text_put(out, "the service");
        return;
    }
    text_put(out, p->kind == PLACE_TANK || p->kind == PLACE_ROOM ? p->id : p->text);
    if (name != NULL && strcmp(name, p->id) != 0)
        text_printf(out, " %s", name);
}

static void put_clock(const struct report_page *page, utc_t t, struct text *out)
{
    char when[CLOCK_MAX];
    html_put(out, page->clock(t, when, sizeof when));
}

static void put_link(const struct report_page *page, int place, struct text *out)
{
    char name[256];
    struct text t = text_over(name, sizeof name);
    report_page_name(page->site, place, &t);
    text_put(out, "<a href=\"#");
    report_page_anchor(page->site, place, out);
    text_put(out, "\">");
    html_put(out, name);
    text_put(out, "</a>");
}

/* --- head --- */

static const char *site_name(const struct site *site)
{
    return site->name != NULL ? site->name : site->id;
}

static void put_front(const struct report_page *page, struct text *out)
{
    text_put(out, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n"
                  "<meta name=\"generator\" content=\"lentic\">\n"
                  "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n"
                  "<meta name=\"color-scheme\" content=\"light dark\">\n<title>");
    html_put(out, site_name(page->site));
    text_put(out, ": report to ");
    put_clock(page, page->to, out);
    text_put(out, "</title>\n<style>\n");
    text_put(out, report_style);
    text_put(out, "</style></head><body id=\"top\">\n");
    text_put(out, report_patterns);
}

static void put_heading(const struct report_page *page, struct text *out)
{
    char span[48];
    text_put(out, "<header><h1>");
    html_put(out, site_name(page->site));
    text_put(out, "</h1>\n<p>");
    put_clock(page, page->from, out);
    text_put(out, " to ");
    put_clock(page, page->to, out);
    text_printf(out, " (%s)", span_format(page->to.ms - page->from.ms, span, sizeof span));
    text_put(out, "</p>\n<p class=\"dim\">Made ");
    put_clock(page, page->made, out);
    text_put(out, " by lentic ");
    html_put(out, page->version);
    text_put(out, ". Times are ");
    html_put(out, page->zone);
    text_put(out, ". ");
    html_put(out, page->sources);
    text_put(out, "</p></header>\n");
}

/* --- at a glance --- */

static const enum quantity glance_columns[] = { Q_TEMP, Q_EC, Q_TDS, Q_PH };
#define GLANCE_COLUMNS (int)(sizeof glance_columns / sizeof *glance_columns)

static const struct report_series *series_of(const struct report_place *p, enum quantity q)
{
    for (int i = 0; i < p->series_count; i++)
        if (p->series[i].quantity == q)
            return &p->series[i];
    return NULL;
}

/* A column that no place fills is left out. */
static bool is_column(const struct report_page *page, enum quantity q)
{
    for (int i = 0; i < page->place_count; i++)
        if (series_of(&page->places[i], q) != NULL)
            return true;
    return false;
}

static void put_glance_titles(const struct report_page *page, struct text *out)
{
    text_put(out, "<thead><tr><th scope=\"col\">place</th><th scope=\"col\">state</th>");
    for (int i = 0; i < GLANCE_COLUMNS; i++) {
        const struct quantity_info *info = quantity_info(glance_columns[i]);
        if (is_column(page, glance_columns[i]))
            text_printf(out, "<th scope=\"col\" class=\"n\">%s</th>",
                        info->unit[0] != '\0' ? info->unit : info->title);
    }
    text_put(out, "<th scope=\"col\" class=\"n\"><abbr title=\"share of readings that passed every "
                  "test\">good</abbr></th></tr></thead>\n");
}

/* "22.8" and below it, small, "22.1 to 23.4". */
static void put_glance_cell(const struct report_series *s, enum quantity q, struct text *out)
{
    int decimals = quantity_info(q)->decimals;
    text_put(out, "<td class=\"n\">");
    if (s == NULL || isnan(s->tally.mean)) {
        text_put(out, "–</td>");
        return;
    }
    html_number(out, s->tally.mean, decimals);
    text_put(out, "<br><small>");
    html_number(out, s->tally.lo, decimals);
    text_put(out, "–");
    html_number(out, s->tally.hi, decimals);
    text_put(out, "</small></td>");
}

static double good_share(const struct report_place *p)
{
    long n = 0, good = 0;
    for (int i = 0; i < p->series_count; i++) {
        n += p->series[i].tally.n;
        good += p->series[i].tally.good;
    }
    return n > 0 ? (double)good / (double)n : (double)NAN;
}

static void put_share(struct text *out, double share)
{
    /* 99.96 % is not all. */
    double shown = share < 1 ? floor(share * 100) : 100;
    if (isnan(share))
        text_put(out, "–");
    else
        text_printf(out, "%.0f %%", shown);
}

static void put_state(struct text *out, enum report_rank rank)
{
    static const char *const states[] = {
        [REPORT_QUIET] = "<span class=\"dim\">○ quiet</span>",
        [REPORT_STOOD_OUT] = "<span class=\"warn\">△ look</span>",
        [REPORT_STANDS_LOW] = "<span class=\"bad\">▲ low</span>",
        [REPORT_STANDS_MEDIUM] = "<span class=\"bad\">▲ medium</span>",
        [REPORT_STANDS_HIGH] = "<span class=\"bad\">▲ high</span>",
    };
    text_put(out, states[rank]);
}

static void put_glance_row(const struct report_page *page, int index, enum report_rank rank, const char *why,
                           struct text *out)
{
    const struct report_place *p = &page->places[index];
    (void)why;
    text_put(out, "<tr><th scope=\"row\">");
    put_link(page, p->place, out);
    text_put(out, "</th><td class=\"t\">");
    put_state(out, rank);
    text_put(out, "</td>");
    for (int i = 0; i < GLANCE_COLUMNS; i++)
        if (is_column(page, glance_columns[i]))
            put_glance_cell(series_of(p, glance_columns[i]), glance_columns[i], out);
    text_put(out, "<td class=\"n\">");
    put_share(out, good_share(p));
    text_put(out, "</td></tr>\n");
}

static void put_reason(const struct report_page *page, int index, enum report_rank rank, const char *why,
                       struct text *out)
{
    text_put(out, "<li>");
    put_state(out, rank);
    text_put(out, " ");
    put_link(page, page->places[index].place, out);
    text_put(out, ": ");
    html_put(out, why);
    text_put(out, "</li>\n");
}

/* Most urgent first, down to least. */
static void put_ranked(const struct report_page *page, enum report_rank least,
                       void (*put)(const struct report_page *page, int index, enum report_rank rank,
                                   const char *why, struct text *out),
                       struct text *out)
{
    char words[WHY_MAX];
    for (int wanted = REPORT_STANDS_HIGH; wanted >= (int)least; wanted--)
        for (int i = 0; i < page->place_count; i++) {
            struct text why = text_over(words, sizeof words);
            enum report_rank rank = report_page_rank(page, i, &why);
            if ((int)rank == wanted)
                put(page, i, rank, words, out);
        }
}

static void put_glance_words(const struct report_page *page, struct text *out)
{
    char words[WHY_MAX];
    int counts[REPORT_RANK_COUNT] = { 0 }, n = page->place_count, tanks = 0;
    for (int i = 0; i < n; i++) {
        struct text why = text_over(words, sizeof words);
        counts[report_page_rank(page, i, &why)]++;
        tanks += page->site->places[page->places[i].place].kind == PLACE_TANK;
    }
    text_printf(out, "<p>%d tank%s", tanks, tanks == 1 ? "" : "s");
    if (n > tanks)
        text_printf(out, " and %d other place%s", n - tanks, n - tanks == 1 ? "" : "s");
    if (counts[REPORT_QUIET] == n)
        text_put(out, ": nothing stood out in this time");
    int standing = counts[REPORT_STANDS_LOW] + counts[REPORT_STANDS_MEDIUM] + counts[REPORT_STANDS_HIGH];
    if (standing > 0)
        text_printf(out, "; an alert stands in %d", standing);
    if (counts[REPORT_STOOD_OUT] > 0)
        text_printf(out, "; something else stood out in %d", counts[REPORT_STOOD_OUT]);
    if (counts[REPORT_QUIET] > 0 && counts[REPORT_QUIET] < n)
        text_printf(out, "; %d kept quiet", counts[REPORT_QUIET]);
    text_put(out, ".");
    text_put(out, "</p>\n");
}

static void put_glance(const struct report_page *page, struct text *out)
{
    text_put(out, "<section><h2>At a glance</h2>\n");
    put_glance_words(page, out);
    text_put(out, "<ul class=\"look\">\n");
    put_ranked(page, REPORT_STOOD_OUT, put_reason, out);
    text_put(out, "</ul>\n<div class=\"wide\"><table><caption>Mean, lowest to highest, most urgent first"
                  "</caption>");
    put_glance_titles(page, out);
    text_put(out, "<tbody>\n");
    put_ranked(page, REPORT_QUIET, put_glance_row, out);
    text_put(out, "</tbody></table></div></section>\n");
}

/* --- what stands --- */

static void put_item(struct text *out, const char *title, const char *words)
{
    if (words[0] == '\0')
        return;
    html_element(out, "dt", NULL, title);
    html_element(out, "dd", NULL, words);
    text_put(out, "\n");
}

static void put_since(const struct report_page *page, const struct notice *n, struct text *out)
{
    char span[48];
    text_put(out, "<p>");
    if (utc_is_set(n->raised)) {
        text_put(out, "Since ");
        put_clock(page, n->raised, out);
        text_printf(out, ", %s; ", span_format(page->to.ms - n->raised.ms, span, sizeof span));
    }
    html_put(out, notice_state_words(n));
    if (n->who[0] != '\0') {
        text_put(out, ", by ");
        html_put(out, n->who);
    }
    text_put(out, ".</p>");
}

static void put_due(const struct report_page *page, const struct notice *n, struct text *out)
{
    char words[128], when[CLOCK_MAX], span[48];
    struct text t = text_over(words, sizeof words);
    if (!utc_is_set(n->due) || n->due.ms <= page->made.ms)
        return;
    text_printf(&t, "about %s, until %s", span_format(n->due.ms - page->made.ms, span, sizeof span),
                page->clock(n->due, when, sizeof when));
    put_item(out, "Time left", words);
}

static void put_place(const struct report_page *page, const struct notice *n, struct text *out)
{
    int place = site_place_find(page->site, n->place, strlen(n->place));
    if (place >= 0)
        put_link(page, place, out);
    else
        html_put(out, n->place);
}

static void put_heading_of(const struct report_page *page, const struct notice *n, struct text *out)
{
    static const char *const words[] = { "Low", "Medium", "High" };
    text_printf(out, "<article class=\"notice %s\"><h3>%s: ", priority_name(n->priority), words[n->priority]);
    put_place(page, n, out);
    text_put(out, ", ");
    html_put(out, n->title);
    text_put(out, "</h3>");
}

static void put_notice(const struct report_page *page, const struct notice *n, struct text *out)
{
    put_heading_of(page, n, out);
    put_since(page, n, out);
    text_put(out, "<dl>");
    put_item(out, "Seen", n->evidence[0] != '\0' ? n->evidence : n->number);
    if (n->leader[0] != '\0') {
        put_item(out, "Comes with", n->leader);
    } else {
        if (strstr(n->title, n->cause) == NULL)
            put_item(out, "Likely cause", n->cause);
        put_due(page, n, out);
        put_item(out, n->priority == PRIORITY_HIGH ? "Do now" : "Do", n->action);
        put_item(out, "If nothing is done", n->consequence);
    }
    text_put(out, "</dl></article>\n");
}

/* Over but not acknowledged, put aside, kept quiet: a line each. */
static void put_aside(const struct report_page *page, struct text *out)
{
    bool any = false;
    for (int i = 0; i < page->standing_count; i++) {
        const struct notice *n = &page->standing[i];
        if (notice_is_active(n))
            continue;
        text_put(out, any ? "<li>" : "<h3>Over, but nobody said \"seen\"; or put aside</h3>\n<ul><li>");
        any = true;
        put_place(page, n, out);
        text_put(out, ": ");
        html_put(out, n->title);
        text_put(out, ", <span class=\"dim\">since ");
        put_clock(page, n->raised, out);
        text_put(out, "; ");
        html_put(out, notice_state_words(n));
        text_put(out, "</span></li>\n");
    }
    if (any)
        text_put(out, "</ul>\n");
}

static void put_standing(const struct report_page *page, struct text *out)
{
    bool any = false;
    text_put(out, "<section><h2>Alerts that stand</h2>\n");
    if (!page->standing_live) {
        text_put(out, "<p class=\"dim\">As the store has it for ");
        put_clock(page, page->to, out);
        text_put(out, ".</p>\n");
    }
    for (int i = 0; i < page->standing_count; i++)
        if (notice_is_active(&page->standing[i])) {
            put_notice(page, &page->standing[i], out);
            any = true;
        }
    if (!any)
        text_put(out, "<p>None.</p>\n");
    put_aside(page, out);
    text_put(out, "</section>\n");
}

void report_page_head(const struct report_page *page, struct text *out)
{
    put_front(page, out);
    put_heading(page, out);
    put_glance(page, out);
    put_standing(page, out);
}

void report_page_foot(const struct report_page *page, struct text *out)
{
    (void)page;
    text_put(out,
             "<footer><p class=\"dim\">An aid for warning and for looking back, no safety device: causes and "
             "forecasts are inferences from what the probes say. Check before you correct, and correct "
             "slowly.</p></footer>\n</body></html>\n");
}
