#include "show/week_page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "show/week_know.h"
#include "show/week_lines.h"
#include "show/week_supply.h"
#include "show/width.h"

#define STEP_WIDTH 6

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
    char day[WEEK_DAY_MAX], litres[24], buf[WEEK_LINES_WORDS];
    struct text words = text_over(buf, sizeof buf);
    text_put(out, "  ");
    width_put(out, week_lines_day(page, s->at, day, sizeof day), WEEK_LINES_DAY, false);
    text_put(out, "  ");
    width_put(out, tank->id, widths.tank, false);
    (void)snprintf(litres, sizeof litres, "%.1f", s->litres);
    width_put(out, litres, STEP_WIDTH + 2, true);
    text_put(out, "  ");
    width_put(out, tank->water < 0 ? "?" : page->site->waters[tank->water].id, widths.water, false);
    for (size_t i = 0; i < sizeof axes / sizeof *axes; i++)
        put_step(w, s, axes[i], out);
    put_why(page, w, s, &words);
    int used =
        2 + WEEK_LINES_DAY + 2 + widths.tank + STEP_WIDTH + 2 + 2 + widths.water + 4 * (STEP_WIDTH + 2) + 2;
    if (used + 24 <= week_lines_columns(page)) {
        text_put(out, "  ");
        width_wrap(out, buf, week_lines_columns(page), used, used);
    } else {
        text_put(out, "\n");
        text_printf(out, "%*s", WEEK_LINES_DAY + 4, "");
        width_wrap(out, buf, week_lines_columns(page), WEEK_LINES_DAY + 4, WEEK_LINES_DAY + 4);
    }
}

static void put_titles(struct widths widths, struct text *out)
{
    static const char *const titles[] = { "EC", "GH", "KH", "°C" };
    text_put(out, "  ");
    width_put(out, "when", WEEK_LINES_DAY, false);
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
            week_lines_heading(out, &begun, "Water changes, with the step that each makes");
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
    char day[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
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
    week_lines_put(page, week_lines_day(page, test->due, day, sizeof day), buf, out);
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
                week_lines_heading(out, &begun, "To test by hand (lentic note TANK gh=5)");
                put_tests_like(page, test, out);
            }
}

static void put_calibrations(const struct week_page *page, struct text *out)
{
    bool begun = false;
    char day[WEEK_DAY_MAX], last[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
    for (int i = 0; i < page->room->calibration_count; i++) {
        const struct week_calibration *c = &page->room->calibrations[i];
        const struct stream *stream = &page->site->streams[c->stream];
        struct text words = text_over(buf, sizeof buf);
        week_lines_heading(out, &begun, "To calibrate (lentic calibrate)");
        text_printf(&words, "%s/%s", page->site->places[stream->place].text,
                    quantity_info(stream->quantity)->name);
        if (c->fresh)
            text_put(&words, ": another device, not calibrated yet");
        else
            text_printf(&words, ": last %s, every %.0f days", page->day(c->last, last, sizeof last),
                        c->every_d);
        week_lines_put(page, week_lines_day(page, c->due, day, sizeof day), buf, out);
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
    week_supply_put(page, out);
    put_tests(page, out);
    put_calibrations(page, out);
    week_know_put(page, out);
}
