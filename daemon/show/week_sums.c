#include "show/week_sums.h"

#include <math.h>
#include <string.h>

#include "show/week_lines.h"
#include "show/width.h"

static const char *axis_name(int axis)
{
    static const char *const names[WEEK_AXES] = { "EC", "GH", "KH", "NO3", "temp" };
    return names[axis];
}

static const char *axis_unit(int axis)
{
    return quantity_info(week_quantity((enum week_axis)axis))->unit;
}

static int decimals_of(int axis)
{
    return axis == WEEK_EC ? 1 : 2;
}

static void put_axis(struct text *out, int axis)
{
    text_put(out, "    ");
    width_put(out, axis_name(axis), 5, false);
}

/* --- a tank: what is known --- */

static const char *origin_words(enum week_origin o)
{
    static const char *const words[] = {
        [WEEK_UNKNOWN] = "not known",
        [WEEK_PROBE] = "by the probe",
        [WEEK_HAND] = "by the hand test",
        [WEEK_BATCH] = "measured in the batch mixed last",
        [WEEK_RECKONED] = "assumed: what the recipe has at the tank's EC",
        [WEEK_TARGET] = "target of the water",
        [WEEK_MIXED] = "what the recipe gives",
        [WEEK_PURE] = "purified water holds none",
        [WEEK_SOURCE] = "what the water it is made from brings along",
        [WEEK_ROOM] = "of the room, where water stands",
        [WEEK_BROUGHT] = "assumed: brought to the tank's own",
    };
    return words[o];
}

static void put_values(const struct week_page *page, const struct week_value *values, bool in_tank,
                       utc_t from, struct text *out)
{
    char day[WEEK_DAY_MAX];
    (void)from;
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        const struct week_value *v = &values[axis];
        if (isnan(v->value))
            continue;
        put_axis(out, axis);
        text_printf(out, "%.*f %s, %s%s", decimals_of(axis), v->value, axis_unit(axis),
                    in_tank && v->origin == WEEK_TARGET ? "assumed: " : "", origin_words(v->origin));
        if (utc_is_set(v->t) && (v->origin == WEEK_HAND || v->origin == WEEK_BATCH))
            text_printf(out, ", %s", week_lines_day(page, v->t, day, sizeof day));
        text_put(out, "\n");
    }
}

static void put_limits(const struct week_tank *w, struct text *out)
{
    text_put(out, "  A change is due beyond");
    for (int axis = 0; axis < WEEK_TEMP; axis++) {
        struct span limit = w->limit[axis];
        if (isnan(limit.lo) && isnan(limit.hi))
            continue;
        text_printf(out, "  %s", axis_name(axis));
        if (!isnan(limit.lo))
            text_printf(out, " %.4g to", limit.lo);
        text_printf(out, " %.4g", limit.hi);
    }
    text_printf(out, "\n  At the most %.0f %% in one change; in one step", 100 * w->most_share);
    for (int axis = 0; axis < WEEK_AXES; axis++)
        if (!isnan(w->step[axis]))
            text_printf(out, "  %s %.4g %s", axis_name(axis), w->step[axis], axis_unit(axis));
    text_put(out, "\n");
    for (int axis = 0; axis < WEEK_TEMP; axis++)
        if (w->per_day[axis] != 0)
            text_printf(out, "  %s moves by %+.2f %s a day by itself\n", axis_name(axis), w->per_day[axis],
                        axis_unit(axis));
}

/* --- a tank: its changes --- */

static void put_bound(const struct week_stage *s, const struct week_tank *w, struct text *out)
{
    text_printf(out, "    wanted %.1f %%", 100 * s->wanted);
    if (s->bound == WEEK_BY_SHARE)
        text_printf(out, ", held by the %.0f %% of one change", 100 * w->most_share);
    if (s->bound == WEEK_BY_STEP)
        text_printf(out, ", held by the step of %s: %.4g / |%.4g - %.4g| = %.1f %%", axis_name(s->bound_axis),
                    w->step[s->bound_axis], w->fresh[s->bound_axis].value, s->before[s->bound_axis],
                    100 * s->share);
    text_put(out, "\n");
}

static void put_balance(const struct week_tank *w, const struct week_stage *s, struct text *out)
{
    for (int axis = 0; axis < WEEK_AXES; axis++) {
        double fresh = axis == WEEK_TEMP ? s->fresh_c : w->fresh[axis].value;
        int decimals = decimals_of(axis);
        if (isnan(s->after[axis]))
            continue;
        put_axis(out, axis);
        text_printf(out, "%.*f + %.1f %% x (%.*f - %.*f) = %.*f, a step of %+.*f", decimals, s->before[axis],
                    100 * s->share, decimals, fresh, decimals, s->before[axis], decimals, s->after[axis],
                    decimals, s->after[axis] - s->before[axis]);
        if (!isnan(w->step[axis]))
            text_printf(out, " of %.4g", w->step[axis]);
        text_put(out, "\n");
    }
    if (s->brought)
        text_printf(out, "    water of %.1f °C would make too large a step: bring it to %.1f °C first\n",
                    w->fresh[WEEK_TEMP].value, s->fresh_c);
}

static void put_calendar(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    char last[WEEK_DAY_MAX], next[WEEK_DAY_MAX];
    if (!(w->litres_each > 0))
        return;
    text_printf(out, "  Calendar: %.3g L a week x %.3g days / 7 = %.2f L each time",
                page->site->tanks[w->tank].change_l_week, w->every_d, w->litres_each);
    if (utc_is_set(w->last_change)) {
        utc_t due = { w->last_change.ms + (int64_t)(w->every_d * (double)MS_PER_DAY) };
        text_printf(out, "; last %s + %.3g days = %s", page->day(w->last_change, last, sizeof last),
                    w->every_d, page->day(due, next, sizeof next));
    }
    text_put(out, "\n");
}

static void put_stages(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    char day[WEEK_DAY_MAX];
    for (int i = 0; i < w->stage_count; i++) {
        const struct week_stage *s = &w->stages[i];
        text_printf(out, "  %s: %.1f %% of %.4g L = %.2f L (", week_lines_day(page, s->at, day, sizeof day),
                    100 * s->share, page->site->tanks[w->tank].volume_l, s->litres);
        week_reason_words(w, s, out);
        text_put(out, ")\n");
        put_bound(s, w, out);
        put_balance(w, s, out);
    }
    if (w->stage_count == 0)
        text_put(out, "  No change is due in these days.\n");
}

/* --- a tank: top-off, tests --- */

static void put_topoff(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    static const char *const from[] = {
        "", "configured", "by the top-offs noted", "evaporation, by the level",
        "evaporation reckoned from water and room temperature: half or double"
    };
    char filled[WEEK_DAY_MAX], empty[WEEK_DAY_MAX];
    if (isnan(w->topoff_l_day))
        return;
    text_printf(out, "  Top-off: %.3f L a day (%s), x %.0f days = %.2f L\n", w->topoff_l_day,
                from[w->topoff_from], w->days, w->topoff_l_day * w->days);
    if (isnan(w->reservoir_lasts_d))
        return;
    text_printf(out, "  Reservoir: %.4g L / %.3f L a day = %.1f days", w->reservoir_l, w->topoff_l_day,
                w->reservoir_lasts_d);
    if (utc_is_set(w->reservoir_empty))
        text_printf(out, "; filled %s (the top-off noted last), empty %s",
                    page->day(w->reservoir_filled, filled, sizeof filled),
                    page->day(w->reservoir_empty, empty, sizeof empty));
    text_put(out, "\n");
}

static void put_tests(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    char last[WEEK_DAY_MAX], due[WEEK_DAY_MAX];
    for (int i = 0; i < w->test_count; i++) {
        const struct week_test *t = &w->tests[i];
        text_printf(out, "  Test %s: ", quantity_info(t->quantity)->name);
        if (utc_is_set(t->last))
            text_printf(out, "last %s + %.0f days: %s\n", page->day(t->last, last, sizeof last), t->every_d,
                        week_lines_day(page, t->due, due, sizeof due));
        else
            text_put(out, "never noted: today\n");
    }
}

void week_sums_tank(const struct week_page *page, int index, struct text *out)
{
    const struct week_tank *w = &page->tanks[index];
    const struct tank *tank = &page->site->tanks[w->tank];
    char day[WEEK_DAY_MAX];
    text_printf(out, "%s (%s), %.4g L, %s, %s and %.0f days\n", tank->id, tank->name, tank->volume_l,
                tank->water < 0 ? "no water named" : page->site->waters[tank->water].name,
                page->day(w->from, day, sizeof day), w->days);
    text_put(out, "  In the tank\n");
    put_values(page, w->now, true, w->from, out);
    if (tank->water >= 0) {
        text_put(out, "  In the water that goes in\n");
        put_values(page, w->fresh, false, w->from, out);
    }
    put_limits(w, out);
    put_calendar(page, w, out);
    put_stages(page, w, out);
    put_topoff(page, w, out);
    put_tests(page, w, out);
    for (int i = 0; i < w->remark_count; i++)
        text_printf(out, "  %s: %s\n", week_remark_name(w->remarks[i].kind), w->remarks[i].text);
}
