/* The sheet of one place. */
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "show/html.h"
#include "show/report_page.h"

#define CLOCK_MAX  48
#define DRAWN_MAX  256 /* marks and stretches in one curve */
#define ROWS_MAX   60  /* lines of one list; the newest stay */
#define LEAST_SPAN 8.0 /* height of an axis at the least, in usual deadbands of the quantity */

struct sheet {
    const struct report_page *page;
    const struct report_place *p;
    int place;
    const struct place *at;
    struct text *out;
};

static void put_clock(const struct sheet *s, utc_t t)
{
    char when[CLOCK_MAX];
    html_put(s->out, s->page->clock(t, when, sizeof when));
}

static void put_quantity(struct text *out, double v, enum quantity q)
{
    const struct quantity_info *info = quantity_info(q);
    html_number(out, v, info->decimals);
    if (!isnan(v) && info->unit[0] != '\0')
        text_printf(out, " %s", info->unit);
}

/* --- head --- */

static void put_about(const struct sheet *s)
{
    const struct site *site = s->page->site;
    const struct tank *tank = &site->tanks[s->at->tank];
    text_put(s->out, "<p class=\"dim\">");
    html_number(s->out, tank->volume_l, 0);
    text_put(s->out, " L");
    if (tank->stock >= 0) {
        text_put(s->out, ", ");
        html_put(s->out, site->stocks[tank->stock].name);
    }
    if (tank->water >= 0) {
        text_put(s->out, ", ");
        html_put(s->out, site->waters[tank->water].name);
    }
    if (tank->rack >= 0) {
        text_put(s->out, ", rack ");
        html_put(s->out, site->places[tank->rack].id);
    }
    text_put(s->out, "</p>\n");
}

static void put_title(const struct sheet *s)
{
    char name[256], words[1024];
    struct text t = text_over(name, sizeof name), why = text_over(words, sizeof words);
    report_page_name(s->page->site, s->place, &t);
    text_printf(s->out, "<section class=\"sheet%s\" id=\"", s->at->kind == PLACE_TANK ? " tank" : "");
    report_page_anchor(s->page->site, s->place, s->out);
    text_printf(s->out, "\"><h2><a class=\"up\" href=\"#top\">to the top</a>%s",
                s->at->kind == PLACE_TANK ? "Tank " : "");
    html_put(s->out, name);
    text_put(s->out, "</h2>\n");
    if (s->at->tank >= 0)
        put_about(s);
    if (report_page_rank(s->page, (int)(s->p - s->page->places), &why) != REPORT_QUIET) {
        text_put(s->out, "<p>What stands out: ");
        html_put(s->out, words);
        text_put(s->out, ".</p>\n");
    }
    if (s->p->forecast[0] != '\0')
        html_element(s->out, "p", "warn", s->p->forecast);
}

/* --- curves --- */

struct drawn {
    struct curve_stretch work[DRAWN_MAX], alerts[DRAWN_MAX];
    struct curve_mark marks[DRAWN_MAX];
    struct curve_test tests[DRAWN_MAX];
};

static void take_work(const struct sheet *s, struct drawn *d, struct curve *c)
{
    for (int i = 0; i < s->page->work_count && c->work_count < DRAWN_MAX; i++)
        if (s->page->work[i].place == s->place)
            d->work[c->work_count++] = s->page->work[i].stretch;
    for (int i = 0; i < s->page->change_count && c->mark_count < DRAWN_MAX; i++)
        if (s->page->changes[i].place == s->place)
            d->marks[c->mark_count++] = s->page->changes[i].mark;
}

static void take_of_quantity(const struct sheet *s, enum quantity q, struct drawn *d, struct curve *c)
{
    for (int i = 0; i < s->page->test_count && c->test_count < DRAWN_MAX; i++)
        if (s->page->tests[i].place == s->place && s->page->tests[i].quantity == q)
            d->tests[c->test_count++] = (struct curve_test){ s->page->tests[i].t, s->page->tests[i].value };
    for (int i = 0; i < s->page->spell_count && c->alert_count < DRAWN_MAX; i++) {
        const struct report_spell *spell = &s->page->spells[i];
        if (spell->place == s->place && spell->axis == q)
            d->alerts[c->alert_count++] =
                (struct curve_stretch){ spell->n.raised,
                                        utc_is_set(spell->ended) ? spell->ended : s->page->to };
    }
}

/* What the curve shows, for those who hear the page. */
static void tell_curve(const struct sheet *s, const struct report_series *series, const struct curve *c,
                       struct text *out)
{
    const struct tally *t = &series->tally;
    char lo[48], hi[48], mean[48];
    number_format(lo, sizeof lo, t->lo, c->decimals);
    number_format(hi, sizeof hi, t->hi, c->decimals);
    number_format(mean, sizeof mean, t->mean, c->decimals);
    text_printf(out, "Curve of %s at %s: between %s and %s%s%s, mean %s", c->name, s->at->text, lo, hi,
                c->unit[0] != '\0' ? " " : "", c->unit, mean);
    if (!isnan(t->in_band))
        text_printf(out, "; %.0f %% of the time in the band", floor(t->in_band * 100));
    if (c->work_count > 0)
        text_printf(out, "; service windows: %d", c->work_count);
    if (c->mark_count > 0)
        text_printf(out, "; water changes: %d", c->mark_count);
    if (c->alert_count > 0)
        text_printf(out, "; alerts: %d", c->alert_count);
}

static void put_curve(const struct sheet *s, const struct report_series *series)
{
    const struct quantity_info *info = quantity_info(series->quantity);
    struct drawn d;
    char told[512];
    struct text words = text_over(told, sizeof told);
    struct curve c = { .name = info->title,
                       .unit = info->unit,
                       .told = told,
                       .decimals = info->decimals,
                       .least_span = info->deadband * LEAST_SPAN,
                       .from = s->page->from,
                       .to = s->page->to,
                       .points = series->points,
                       .count = series->count,
                       .break_ms = series->break_ms,
                       .band = series->band,
                       .work = d.work,
                       .alerts = d.alerts,
                       .marks = d.marks,
                       .tests = d.tests,
                       .ticks = s->page->ticks,
                       .tick_count = s->page->tick_count };
    take_work(s, &d, &c);
    take_of_quantity(s, series->quantity, &d, &c);
    tell_curve(s, series, &c, &words);
    curve_put(s->out, &c);
}

static bool has_values(const struct sheet *s, enum quantity q)
{
    for (int i = 0; i < s->p->series_count; i++)
        if (s->p->series[i].quantity == q && !isnan(s->p->series[i].tally.mean))
            return true;
    return false;
}

/* Of a tank what animals feel first; the rest is in the table. Of other places all there is. */
static bool is_drawn(const struct sheet *s, enum quantity q)
{
    if (!has_values(s, q) || q == Q_LEAK)
        return false;
    return s->at->kind != PLACE_TANK || q == Q_TEMP || q == Q_EC || q == Q_PH ||
           (q == Q_TDS && !has_values(s, Q_EC));
}

static void put_key(const struct sheet *s)
{
    text_put(s->out,
             "<p class=\"key\"><span><i class=\"km\"></i>mean</span><span><i class=\"ks\"></i>lowest to "
             "highest</span>");
    if (s->at->kind == PLACE_TANK)
        text_put(s->out,
                 "<span><i class=\"kb\"></i>the animals' band</span><span><i class=\"kw\"></i>service "
                 "window</span><span><b>W</b> water change noted</span><span><b>w</b> seen by the probe "
                 "only</span><span><i class=\"kt\"></i>hand test</span>");
    text_put(s->out, "<span><i class=\"ka\"></i>alert</span><span>gap: no reading</span></p>\n");
}

static void put_curves(const struct sheet *s)
{
    bool any = false;
    for (int i = 0; i < s->p->series_count; i++)
        if (is_drawn(s, s->p->series[i].quantity)) {
            put_curve(s, &s->p->series[i]);
            any = true;
        }
    if (any)
        put_key(s);
}

/* --- tables --- */

static void open_table(struct text *out, const char *caption, const char *const *titles, int count,
                       unsigned right)
{
    text_put(out, "<div class=\"wide\"><table>");
    html_element(out, "caption", NULL, caption);
    text_put(out, "<thead><tr>");
    for (int i = 0; i < count; i++) {
        text_put(out, right & 1u << i ? "<th scope=\"col\" class=\"n\">" : "<th scope=\"col\">");
        text_printf(out, "%s</th>", titles[i]);
    }
    text_put(out, "</tr></thead><tbody>\n");
}

static void close_table(struct text *out)
{
    text_put(out, "</tbody></table></div>\n");
}

/* A value with an arrow where it lies out of the band. */
static void put_judged(struct text *out, double v, const struct report_series *s)
{
    bool low = v<s->band.lo, high = v> s->band.hi;
    text_put(out, low || high ? "<td class=\"n bad\">" : "<td class=\"n\">");
    html_number(out, v, quantity_info(s->quantity)->decimals);
    if (low || high)
        text_put(out, low ? " <abbr title=\"below the band\">↓</abbr>"
                          : " <abbr title=\"above the band\">↑</abbr>");
    text_put(out, "</td>");
}

static void put_swing(struct text *out, const struct report_series *s)
{
    int decimals = quantity_info(s->quantity)->decimals;
    bool wide = s->tally.swing > s->day_range;
    text_put(out, wide ? "<td class=\"n bad\">" : "<td class=\"n\">");
    html_number(out, s->tally.swing, decimals);
    if (!isnan(s->day_range)) {
        text_put(out, " <small>of ");
        html_number(out, s->day_range, decimals);
        text_put(out, "</small>");
    }
    text_put(out, "</td>");
}

static void put_share(struct text *out, double share, bool bad)
{
    text_put(out, bad ? "<td class=\"n bad\">" : "<td class=\"n\">");
    if (isnan(share))
        text_put(out, "–</td>");
    else
        text_printf(out, "%.0f %%</td>", share < 1 ? floor(share * 100) : 100);
}

static void put_now(const struct sheet *s, const struct report_series *series)
{
    char span[48];
    put_judged(s->out, series->now, series);
    text_put(s->out, "<td class=\"t\"><small>");
    if (utc_is_set(series->now_t))
        text_printf(s->out, "%s before",
                    span_format(s->page->to.ms > series->now_t.ms ? s->page->to.ms - series->now_t.ms : 0,
                                span, sizeof span));
    text_put(s->out, "</small></td>");
}

static void put_figures_row(const struct sheet *s, const struct report_series *series)
{
    const struct quantity_info *info = quantity_info(series->quantity);
    const struct tally *t = &series->tally;
    text_put(s->out, "<tr><th scope=\"row\">");
    text_printf(s->out, "%s%s%s", info->title, info->unit[0] != '\0' ? ", " : "", info->unit);
    text_put(s->out, "</th>");
    put_now(s, series);
    put_judged(s->out, t->lo, series);
    put_judged(s->out, t->mean, series);
    put_judged(s->out, t->hi, series);
    put_swing(s->out, series);
    put_share(s->out, t->in_band, t->in_band < 1);
    put_share(s->out, t->n > 0 ? (double)t->good / (double)t->n : (double)NAN, false);
    text_printf(s->out, "<td class=\"n\">%ld</td></tr>\n", t->n);
}

static void put_figures(const struct sheet *s)
{
    static const char *const titles[] = { "quantity", "last",           "",        "lowest", "mean",
                                          "highest",  "swing in a day", "in band", "good",   "readings" };
    if (s->p->series_count == 0)
        return;
    open_table(s->out, "Readings of this time", titles, 10, 0x3fa);
    for (int i = 0; i < s->p->series_count; i++)
        put_figures_row(s, &s->p->series[i]);
    close_table(s->out);
}

/* How many of a list are passed over so that at most ROWS_MAX, the newest, are shown. */
static int beyond(int count)
{
    return count > ROWS_MAX ? count - ROWS_MAX : 0;
}

static void put_beyond(struct text *out, int skipped, const char *where)
{
    if (skipped > 0)
        text_printf(out, "<p class=\"dim\">%d older ones are left out: %s shows them.</p>\n", skipped, where);
}

static void put_test_row(const struct sheet *s, const struct report_test *t)
{
    text_put(s->out, "<tr><td class=\"t\">");
    put_clock(s, t->t);
    text_printf(s->out, "</td><th scope=\"row\">%s</th><td class=\"n\">", quantity_info(t->quantity)->title);
    put_quantity(s->out, t->value, t->quantity);
    if (!isnan(t->sd)) {
        text_put(s->out, " <small>± ");
        html_number(s->out, t->sd, quantity_info(t->quantity)->decimals);
        text_put(s->out, "</small>");
    }
    text_put(s->out, "</td>");
    html_element(s->out, "td", NULL, t->kit);
    html_element(s->out, "td", NULL, t->who);
    text_put(s->out, "</tr>\n");
}

static void put_tests(const struct sheet *s)
{
    static const char *const titles[] = { "when", "quantity", "value", "kit", "by" };
    int count = 0, i = 0;
    for (int k = 0; k < s->page->test_count; k++)
        count += s->page->tests[k].place == s->place;
    if (count == 0)
        return;
    open_table(s->out, "Hand tests", titles, 5, 0x4);
    for (int k = 0; k < s->page->test_count; k++)
        if (s->page->tests[k].place == s->place && i++ >= beyond(count))
            put_test_row(s, &s->page->tests[k]);
    close_table(s->out);
    put_beyond(s->out, beyond(count), "lentic note --list");
}

static void put_note_row(const struct sheet *s, const struct report_note *n)
{
    text_printf(s->out, "<tr><td class=\"n\">%lld</td><td class=\"t\">", (long long)n->id);
    put_clock(s, n->t);
    text_put(s->out, "</td>");
    html_element(s->out, "td", NULL, n->words);
    html_element(s->out, "td", NULL, n->who);
    text_put(s->out, "</tr>\n");
}

static void put_notes(const struct sheet *s)
{
    static const char *const titles[] = { "entry", "when", "what", "by" };
    bool room = s->at->kind == PLACE_ROOM;
    int count = 0, i = 0;
    for (int k = 0; k < s->page->note_count; k++)
        count += s->page->notes[k].place == s->place || (room && s->page->notes[k].place < 0);
    if (count == 0)
        return;
    open_table(s->out, "Journal", titles, 4, 0x1);
    for (int k = 0; k < s->page->note_count; k++) {
        const struct report_note *n = &s->page->notes[k];
        if ((n->place == s->place || (room && n->place < 0)) && i++ >= beyond(count))
            put_note_row(s, n);
    }
    close_table(s->out);
    put_beyond(s->out, beyond(count), "lentic note --list");
}

static void put_lasted(const struct sheet *s, const struct report_spell *spell)
{
    char span[48];
    utc_t end = utc_is_set(spell->ended) ? spell->ended : s->page->to;
    text_printf(s->out, "%s%s", span_format(end.ms - spell->n.raised.ms, span, sizeof span),
                utc_is_set(spell->ended) ? "" : ", not over");
}

static void put_spell_row(const struct sheet *s, const struct report_spell *spell)
{
    const struct notice *n = &spell->n;
    text_put(s->out, "<tr><td class=\"t\">");
    put_clock(s, n->raised);
    text_put(s->out, "</td><td class=\"t\">");
    put_lasted(s, spell);
    text_printf(s->out, "</td><td>%s</td><th scope=\"row\">", priority_name(n->priority));
    html_put(s->out, n->title);
    text_put(s->out,
             spell->sent ? "</th><td>" : "<br><small>told with another, or kept quiet</small></th><td>");
    if (n->cause[0] != '\0' && strstr(n->title, n->cause) == NULL) {
        html_put(s->out, n->cause);
        text_put(s->out, ": ");
    }
    html_put(s->out, spell->begun_with[0] != '\0' ? spell->begun_with : n->number);
    text_put(s->out, "</td></tr>\n");
}

static void put_spells(const struct sheet *s)
{
    static const char *const titles[] = { "began", "lasted", "priority", "alert",
                                          "cause, and what was seen" };
    int count = 0, i = 0;
    for (int k = 0; k < s->page->spell_count; k++)
        count += s->page->spells[k].place == s->place;
    if (count == 0) {
        text_put(s->out, "<p>No alert in this time.</p>\n");
        return;
    }
    open_table(s->out, "Alerts", titles, 5, 0);
    for (int k = 0; k < s->page->spell_count; k++)
        if (s->page->spells[k].place == s->place && i++ >= beyond(count))
            put_spell_row(s, &s->page->spells[k]);
    close_table(s->out);
    put_beyond(s->out, beyond(count), "lentic alerts --past");
}

static void put_calibration_row(const struct sheet *s, const struct report_calibration *c)
{
    utc_t due = { c->last.ms + (int64_t)(c->every_d * (double)MS_PER_DAY) };
    text_printf(s->out, "<tr><th scope=\"row\">%s<br><small>", quantity_info(c->quantity)->title);
    html_put(s->out, c->probe);
    text_put(s->out, "</small></th><td class=\"t\">");
    if (!utc_is_set(c->last)) {
        text_put(s->out, "never here</td><td class=\"warn\">due</td></tr>\n");
        return;
    }
    put_clock(s, c->last);
    text_put(s->out,
             due.ms <= s->page->made.ms ? "</td><td class=\"t warn\">due since " : "</td><td class=\"t\">");
    put_clock(s, due);
    text_put(s->out, "</td></tr>\n");
}

static void put_calibrations(const struct sheet *s)
{
    static const char *const titles[] = { "probe", "calibrated last", "due" };
    bool any = false;
    for (int i = 0; i < s->page->calibration_count; i++) {
        if (s->page->calibrations[i].place != s->place)
            continue;
        if (!any)
            open_table(s->out, "Calibrations", titles, 3, 0);
        any = true;
        put_calibration_row(s, &s->page->calibrations[i]);
    }
    if (any)
        close_table(s->out);
}

void report_page_sheet(const struct report_page *page, int index, struct text *out)
{
    const struct report_place *p = &page->places[index];
    const struct sheet s = { page, p, p->place, &page->site->places[p->place], out };
    put_title(&s);
    put_curves(&s);
    put_figures(&s);
    put_spells(&s);
    put_tests(&s);
    put_notes(&s);
    put_calibrations(&s);
    text_put(out, "</section>\n");
}
