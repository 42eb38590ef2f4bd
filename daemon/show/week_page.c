#include "show/week_page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "show/width.h"

#define COLUMNS_LEAST 60
#define DAY_WIDTH     10
#define STEP_WIDTH    6
#define WORDS_MAX     512
#define FAR_DAYS      370

static int columns_of(const struct week_page *page)
{
    return page->columns < COLUMNS_LEAST ? COLUMNS_LEAST : page->columns;
}

const char *week_page_day(const struct week_page *page, utc_t t, char *buf, size_t cap)
{
    char today[WEEK_DAY_MAX];
    (void)page->day(t, buf, cap);
    if (strcmp(buf, page->day(page->room->from, today, sizeof today)) == 0)
        (void)snprintf(buf, cap, "today");
    return buf;
}

/* A day, "name"; then words that wrap below themselves. */
static void put_line(const struct week_page *page, const char *day, const char *words, struct text *out)
{
    text_put(out, "  ");
    width_put(out, day, DAY_WIDTH, false);
    text_put(out, "  ");
    width_wrap(out, words, columns_of(page), DAY_WIDTH + 4, DAY_WIDTH + 4);
}

static void heading(struct text *out, bool *begun, const char *title)
{
    if (!*begun)
        text_printf(out, "\n%s\n", title);
    *begun = true;
}

/* --- changes --- */

struct widths {
    int tank, water;
};

static struct widths widths_of(const struct week_page *page)
{
    struct widths w = { 4, 5 };
    for (int i = 0; i < page->tank_count; i++) {
        const struct tank *tank = &page->site->tanks[page->tanks[i].tank];
        int id = width_of(tank->id);
        int water = tank->water < 0 ? 0 : width_of(page->site->waters[tank->water].id);
        w.tank = id > w.tank ? id : w.tank;
        w.water = water > w.water ? water : w.water;
    }
    return w;
}

/* What goes in is made to its target; what is in the tank was not measured. */
static bool is_assumed(const struct week_tank *w, enum week_axis axis)
{
    enum week_origin now = w->now[axis].origin;
    return now == WEEK_RECKONED || now == WEEK_TARGET || w->fresh[axis].origin == WEEK_BROUGHT;
}

static void put_step(const struct week_tank *w, const struct week_stage *s, enum week_axis axis,
                     struct text *out)
{
    char cell[48] = "–";
    double step = s->after[axis] - s->before[axis];
    int decimals = axis == WEEK_EC ? 0 : 1;
    if (fabs(step) <= 0.5 * pow(10, -decimals))
        step = 0; /* never "-0" */
    if (!isnan(step))
        (void)snprintf(cell, sizeof cell, "%s%+.*f", is_assumed(w, axis) ? "~" : "", decimals, step);
    text_put(out, "  ");
    width_put(out, cell, STEP_WIDTH, true);
}

static void put_why(const struct week_page *page, const struct week_tank *w, const struct week_stage *s,
                    struct text *words)
{
    week_reason_words(w, s, words);
    if (s->bound == WEEK_BY_STEP)
        text_printf(words, "; held by the animals' limit of %.4g %s a step", w->step[s->bound_axis],
                    quantity_info(week_quantity(s->bound_axis))->unit);
    if (s->brought)
        text_printf(words, "; bring the water to %.1f °C first", s->fresh_c);
    (void)page;
}

static void put_stage(const struct week_page *page, const struct week_tank *w, const struct week_stage *s,
                      struct widths widths, struct text *out)
{
    static const enum week_axis axes[] = { WEEK_EC, WEEK_GH, WEEK_KH, WEEK_TEMP };
    const struct tank *tank = &page->site->tanks[w->tank];
    char day[WEEK_DAY_MAX], litres[24], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    text_put(out, "  ");
    width_put(out, week_page_day(page, s->at, day, sizeof day), DAY_WIDTH, false);
    text_put(out, "  ");
    width_put(out, tank->id, widths.tank, false);
    (void)snprintf(litres, sizeof litres, "%.1f", s->litres);
    width_put(out, litres, STEP_WIDTH + 2, true);
    text_put(out, "  ");
    width_put(out, tank->water < 0 ? "?" : page->site->waters[tank->water].id, widths.water, false);
    for (size_t i = 0; i < sizeof axes / sizeof *axes; i++)
        put_step(w, s, axes[i], out);
    put_why(page, w, s, &words);
    text_put(out, "  ");
    int used = 2 + DAY_WIDTH + 2 + widths.tank + STEP_WIDTH + 2 + 2 + widths.water + 4 * (STEP_WIDTH + 2) + 2;
    if (used + 24 <= columns_of(page)) {
        width_wrap(out, buf, columns_of(page), used, used);
    } else {
        text_put(out, "\n");
        text_printf(out, "%*s", DAY_WIDTH + 4, "");
        width_wrap(out, buf, columns_of(page), DAY_WIDTH + 4, DAY_WIDTH + 4);
    }
}

static void put_titles(struct widths widths, struct text *out)
{
    static const char *const titles[] = { "EC", "GH", "KH", "°C" };
    text_put(out, "  ");
    width_put(out, "when", DAY_WIDTH, false);
    text_put(out, "  ");
    width_put(out, "tank", widths.tank, false);
    width_put(out, "litres", STEP_WIDTH + 2, true);
    text_put(out, "  ");
    width_put(out, "water", widths.water, false);
    for (int i = 0; i < 4; i++) {
        text_put(out, "  ");
        width_put(out, titles[i], STEP_WIDTH, true);
    }
    text_put(out, "  why\n");
}

/* Behind that stage in time, and of those of one time in the order of the tanks. */
static bool comes_after(const struct week_stage *a, int tank_a, const struct week_stage *b, int tank_b)
{
    return b == NULL || a->at.ms > b->at.ms || (a->at.ms == b->at.ms && tank_a > tank_b);
}

static const struct week_stage *next_stage(const struct week_page *page, const struct week_stage *last,
                                           int *tank)
{
    const struct week_stage *best = NULL;
    int best_tank = -1;
    for (int i = 0; i < page->tank_count; i++)
        for (int k = 0; k < page->tanks[i].stage_count; k++) {
            const struct week_stage *s = &page->tanks[i].stages[k];
            if (comes_after(s, i, last, *tank) && (best == NULL || comes_after(best, best_tank, s, i))) {
                best = s;
                best_tank = i;
            }
        }
    *tank = best_tank;
    return best;
}

static void put_changes(const struct week_page *page, struct text *out)
{
    struct widths widths = widths_of(page);
    bool begun = false;
    int tank = -1;
    for (const struct week_stage *s = next_stage(page, NULL, &tank); s != NULL;
         s = next_stage(page, s, &tank)) {
        if (!begun) {
            heading(out, &begun, "Water changes, with the step that each makes");
            put_titles(widths, out);
        }
        put_stage(page, &page->tanks[tank], s, widths, out);
    }
    for (int i = 0; i < page->tank_count; i++)
        if (page->tanks[i].later > 0)
            text_printf(out, "  %s: %d more stage%s after these days\n",
                        page->site->tanks[page->tanks[i].tank].id, page->tanks[i].later,
                        page->tanks[i].later == 1 ? "" : "s");
    if (!begun)
        text_put(out, "\nNo water change is due in these days.\n");
}

/* --- what to prepare --- */

static void put_grams(struct text *words, double grams)
{
    text_printf(words, "%.*f g", grams < 10 ? 2 : 1, grams);
}

static void put_water(const struct week_page *page, const struct week_water *w, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    text_printf(&words, "%.1f L of %s for %d tank%s", w->litres, page->site->waters[w->water].name, w->tanks,
                w->tanks == 1 ? "" : "s");
    if (!w->mixed) {
        text_printf(&words, ": cannot be weighed: %s", w->why.text);
    } else {
        text_put(&words, ": weigh ");
        for (int i = 0; i < w->part_count; i++) {
            text_put(&words, i == 0 ? "" : i + 1 == w->part_count ? " and " : ", ");
            put_grams(&words, w->parts[i].grams);
            text_printf(&words, " of %s", page->site->salts[w->parts[i].salt].name);
        }
        if (w->part_count == 0)
            text_put(&words, "nothing");
        text_put(&words, "; expect ");
        if (!isnan(w->ec))
            text_printf(&words, "EC %.0f (give or take %.0f), ", w->ec, 2 * w->ec_sd);
        text_printf(&words, "GH %.1f, KH %.1f", w->gh, w->kh);
    }
    char lead[64];
    (void)snprintf(lead, sizeof lead, "%s", week_page_day(page, w->first, day, sizeof day));
    put_line(page, lead, buf, out);
}

static void put_source(const struct week_page *page, const struct week_source *s, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    const struct source *source = &page->site->sources[s->source];
    text_printf(&words, "%.1f L: %.1f to mix, %.1f to top off", s->mix_l + s->topoff_l, s->mix_l,
                s->topoff_l);
    if (s->unknown_topoffs > 0)
        text_printf(&words, " (not known for %d tank%s)", s->unknown_topoffs,
                    s->unknown_topoffs == 1 ? "" : "s");
    if (isnan(s->gives_l))
        text_put(&words, "; what it gives is not said");
    else
        text_printf(&words, "; it gives %.0f L in these days", s->gives_l);
    if (s->short_l > 0)
        text_printf(&words, ". SHORT of %.1f L, first %s: spread the changes, or fill containers before",
                    s->short_l, week_page_day(page, s->short_at, day, sizeof day));
    else if (!isnan(s->gives_l))
        text_put(&words, ", enough");
    put_line(page, page->site->places[source->place].id, buf, out);
}

static void put_preparation(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->room->water_count; i++) {
        heading(out, &begun, "To prepare, until then");
        put_water(page, &page->room->waters[i], out);
    }
    begun = false;
    for (int i = 0; i < page->room->source_count; i++) {
        heading(out, &begun, "Purified water");
        put_source(page, &page->room->sources[i], out);
    }
}

/* --- salts --- */

static void put_salt(const struct week_page *page, const struct week_salt *s, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    put_grams(&words, s->grams);
    text_printf(&words, " of %s", page->site->salts[s->salt].name);
    if (isnan(s->left_g))
        text_put(&words, "; the stock is not said");
    else
        text_printf(&words, "; %.0f g there", s->left_g);
    if (s->short_now)
        text_put(&words, ". NOT ENOUGH for these days: buy now");
    else if (utc_is_set(s->out) && s->out.ms < page->room->from.ms + FAR_DAYS * MS_PER_DAY)
        text_printf(&words, ", used up about %s", page->day(s->out, day, sizeof day));
    else if (utc_is_set(s->out))
        text_put(&words, ", lasts for over a year");
    put_line(page, page->site->salts[s->salt].id, buf, out);
}

static void put_salts(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->room->salt_count; i++) {
        heading(out, &begun, "Salts");
        put_salt(page, &page->room->salts[i], out);
    }
}

/* --- top-off --- */

static void put_topoff(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    char day[WEEK_DAY_MAX], filled[WEEK_DAY_MAX], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    text_printf(&words, "%.2f L a day, %.1f L in these days", w->topoff_l_day, w->topoff_l_day * w->days);
    if (w->topoff_from == WEEK_TOPOFF_SEEN)
        text_put(&words, " (evaporation)");
    if (w->topoff_from == WEEK_TOPOFF_NOTED)
        text_put(&words, " (as noted)");
    if (!isnan(w->reservoir_lasts_d)) {
        text_printf(&words, "; the reservoir of %.3g L lasts %.0f days", w->reservoir_l,
                    w->reservoir_lasts_d);
        if (utc_is_set(w->reservoir_empty))
            text_printf(&words, ", filled %s: empty %s",
                        week_page_day(page, w->reservoir_filled, filled, sizeof filled),
                        w->reservoir_empty.ms <= w->from.ms
                            ? "by now, look"
                            : week_page_day(page, w->reservoir_empty, day, sizeof day));
    }
    put_line(page, page->site->tanks[w->tank].id, buf, out);
}

static void put_topoffs(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->tank_count; i++)
        if (page->tanks[i].topoff_l_day > 0) {
            heading(out, &begun, "Top-off with purified water");
            put_topoff(page, &page->tanks[i], out);
        }
}

/* --- tests and calibrations --- */

static const struct week_test *test_of(const struct week_tank *w, enum quantity q)
{
    for (int i = 0; i < w->test_count; i++)
        if (w->tests[i].quantity == q)
            return &w->tests[i];
    return NULL;
}

static bool is_alike(const struct week_page *page, const struct week_test *a, const struct week_test *b)
{
    char day_a[WEEK_DAY_MAX], day_b[WEEK_DAY_MAX];
    return utc_is_set(a->last) == utc_is_set(b->last) &&
           strcmp(page->day(a->due, day_a, sizeof day_a), page->day(b->due, day_b, sizeof day_b)) == 0;
}

static bool told_before(const struct week_page *page, int tank, const struct week_test *test)
{
    for (int i = 0; i < tank; i++) {
        const struct week_test *other = test_of(&page->tanks[i], test->quantity);
        if (other != NULL && is_alike(page, other, test))
            return true;
    }
    return false;
}

/* One line for the tanks of one day. */
static void put_tests_like(const struct week_page *page, const struct week_test *test, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WORDS_MAX];
    struct text words = text_over(buf, sizeof buf);
    const struct quantity_info *q = quantity_info(test->quantity);
    text_printf(&words, "%s (%s) in", q->title, q->name);
    for (int i = 0; i < page->tank_count; i++) {
        const struct week_test *other = test_of(&page->tanks[i], test->quantity);
        if (other != NULL && is_alike(page, other, test))
            text_printf(&words, " %s", page->site->tanks[page->tanks[i].tank].id);
    }
    if (!utc_is_set(test->last))
        text_put(&words, ": never noted");
    put_line(page, week_page_day(page, test->due, day, sizeof day), buf, out);
}

static void put_tests(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int day = 0; day < (int)page->room->days; day++)
        for (int q = 0; q < Q_COUNT; q++)
            for (int i = 0; i < page->tank_count; i++) {
                const struct week_test *test = test_of(&page->tanks[i], (enum quantity)q);
                if (test == NULL || (test->due.ms - page->tanks[i].from.ms) / MS_PER_DAY != day ||
                    told_before(page, i, test))
                    continue;
                heading(out, &begun, "To test by hand (lentic note TANK gh=5)");
                put_tests_like(page, test, out);
            }
}

static void put_calibrations(const struct week_page *page, struct text *out)
{
    bool begun = false;
    char day[WEEK_DAY_MAX], last[WEEK_DAY_MAX], buf[WORDS_MAX];
    for (int i = 0; i < page->room->calibration_count; i++) {
        const struct week_calibration *c = &page->room->calibrations[i];
        const struct stream *stream = &page->site->streams[c->stream];
        struct text words = text_over(buf, sizeof buf);
        heading(out, &begun, "To calibrate (lentic calibrate)");
        text_printf(&words, "%s/%s", page->site->places[stream->place].text,
                    quantity_info(stream->quantity)->name);
        if (c->fresh)
            text_put(&words, ": another device, not calibrated yet");
        else
            text_printf(&words, ": last %s, every %.0f days", page->day(c->last, last, sizeof last),
                        c->every_d);
        put_line(page, week_page_day(page, c->due, day, sizeof day), buf, out);
    }
}

/* --- what to know --- */

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
    char buf[2 * WORDS_MAX];
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
    width_wrap(out, buf, columns_of(page), 4, 2);
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
            heading(out, begun, "To know");
            put_remark(page, i, remark, out);
        }
}

static void put_remarks(const struct week_page *page, struct text *out)
{
    static const enum week_remark_kind order[] = { WEEK_CAUTION, WEEK_ASSUMED, WEEK_MISSING };
    bool begun = false;
    for (size_t o = 0; o < sizeof order / sizeof *order; o++) {
        put_tank_remarks(page, order[o], &begun, out);
        for (int i = 0; i < page->room->remark_count; i++)
            if (page->room->remarks[i].kind == order[o]) {
                heading(out, &begun, "To know");
                text_put(out, "  ");
                width_wrap(out, page->room->remarks[i].text, columns_of(page), 4, 2);
            }
    }
    if (page->room->never_calibrated > 0) {
        heading(out, &begun, "To know");
        text_printf(out, "  %d probe%s never calibrated here; nothing reminds of them\n",
                    page->room->never_calibrated, page->room->never_calibrated == 1 ? " was" : "s were");
    }
}

void week_page_put(const struct week_page *page, struct text *out)
{
    char from[WEEK_DAY_MAX], to[WEEK_DAY_MAX];
    utc_t last = { page->room->from.ms + (int64_t)((page->room->days - 1) * (double)MS_PER_DAY) };
    width_put_clean(out, page->site->name != NULL ? page->site->name : page->site->id);
    text_printf(out, ": %s to %s\n", page->day(page->room->from, from, sizeof from),
                page->day(last, to, sizeof to));
    put_changes(page, out);
    put_preparation(page, out);
    put_topoffs(page, out);
    put_salts(page, out);
    put_tests(page, out);
    put_calibrations(page, out);
    put_remarks(page, out);
}
