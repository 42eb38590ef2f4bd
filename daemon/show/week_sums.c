#include "show/week_sums.h"

#include <math.h>
#include <string.h>

#include "show/week_lines.h"
#include "show/week_supply.h"
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

/* --- the room --- */

static void put_stored(const struct week_page *page, const struct week_water *sum, struct text *out)
{
    if (sum->stored_from == WEEK_STORED_NONE)
        return;
    text_printf(out, "  %8.2f L  of these stand mixed, ", sum->stored_l);
    if (sum->stored_from == WEEK_STORED_BATCH)
        text_printf(out, "the rest of batch %lld by the changes noted from it\n", (long long)sum->batch);
    else
        text_printf(out, "by the level in %s\n",
                    page->site->places[page->site->stores[sum->store].place].name);
    text_printf(out, "  %8.2f L  to mix\n", sum->mix_l);
}

static void put_base(const struct week_page *page, const struct week_water *sum, struct text *out)
{
    char buf[160];
    struct text from = text_over(buf, sizeof buf);
    week_supply_from(page->site, sum->water, sum->mix_l, &from);
    if (from.len == 0 || !(sum->mix_l > 0))
        return;
    text_printf(out, "  made of %s", buf);
    if (sum->base.gh > 0 || sum->base.kh > 0) {
        text_printf(out, ", which bring GH %.2f and KH %.2f", sum->base.gh, sum->base.kh);
        if (!isnan(sum->base.ec))
            text_printf(out, " and EC %.0f", sum->base.ec);
        text_put(out, ": taken off the grams");
    }
    text_put(out, "\n");
}

static void put_part(const struct week_page *page, const struct week_water *sum, const struct week_part *part,
                     struct text *out)
{
    const char *name = page->site->salts[part->salt].name;
    text_printf(out, "  %8.2f g  %s: %.2f L x %.4f g/L", part->grams, name, sum->mix_l,
                part->grams / sum->mix_l);
    if (part->pure_g - part->grams > 0.005)
        text_printf(out, "; from purified water %.2f g", part->pure_g);
    text_put(out, "\n");
}

/* "5.1 °dH: 0.0900 g/L x 38.14 + 0.0750 g/L x 22.75". */
static void put_hardness(const struct week_page *page, const struct week_water *sum, enum quantity q,
                         struct text *out)
{
    double base = q == Q_GH ? sum->base.gh : sum->base.kh;
    const char *sep = "";
    text_printf(out, "  %s %.2f °dH", q == Q_GH ? "GH" : "KH", q == Q_GH ? sum->gh : sum->kh);
    if (base > 0) {
        text_printf(out, ": %.2f of its own", base);
        sep = " + ";
    }
    for (int i = 0; i < sum->part_count; i++) {
        const struct salt *salt = &page->site->salts[sum->parts[i].salt];
        double per_g = q == Q_GH ? salt->gh : salt->kh;
        if (!(per_g > 0))
            continue;
        text_printf(out, "%s%.4f g/L x %.2f", sep[0] == '\0' ? ": " : sep, sum->parts[i].grams / sum->mix_l,
                    per_g);
        sep = " + ";
    }
    text_put(out, "\n");
}

static void put_expected(const struct week_page *page, const struct week_water *sum, struct text *out)
{
    if (!sum->mixed || sum->part_count == 0)
        return;
    put_hardness(page, sum, Q_GH, out);
    put_hardness(page, sum, Q_KH, out);
    if (!isnan(sum->ec))
        text_printf(out,
                    "  EC %.0f µS/cm (give or take %.0f): pure salts by their ions together, ready mixes by "
                    "the figures of the jar%s\n",
                    sum->ec, 2 * sum->ec_sd, sum->base.ec > 0.5 ? ", and what it is made of" : "");
}

void week_sums_water(const struct week_page *page, int water, struct text *out)
{
    const struct week_water *sum = NULL;
    char day[WEEK_DAY_MAX];
    for (int i = 0; i < page->room->water_count; i++)
        if (page->room->waters[i].water == water)
            sum = &page->room->waters[i];
    text_printf(out, "%s, %.0f days\n", page->site->waters[water].name, page->room->days);
    if (sum == NULL) {
        text_put(out, "  no tank asks for it in these days\n");
        return;
    }
    for (int i = 0; i < page->tank_count; i++)
        for (int k = 0; k < page->tanks[i].stage_count; k++) {
            const struct tank *tank = &page->site->tanks[page->tanks[i].tank];
            if (tank->water == water)
                text_printf(out, "  %8.2f L  %s, %s\n", page->tanks[i].stages[k].litres, tank->id,
                            week_lines_day(page, page->tanks[i].stages[k].at, day, sizeof day));
        }
    text_printf(out, "  %8.2f L  together\n", sum->litres);
    put_stored(page, sum, out);
    put_base(page, sum, out);
    for (int i = 0; i < sum->part_count; i++)
        put_part(page, sum, &sum->parts[i], out);
    put_expected(page, sum, out);
    if (!sum->mixed)
        text_printf(out, "  %s\n", sum->why.text);
}

void week_sums_salt(const struct week_page *page, int salt, struct text *out)
{
    const struct week_room *room = page->room;
    const struct salt *s = &page->site->salts[salt];
    char day[WEEK_DAY_MAX];
    text_printf(out, "%s, %.0f days\n", s->name, room->days);
    for (int i = 0; i < room->water_count; i++)
        for (int k = 0; k < room->waters[i].part_count; k++)
            if (room->waters[i].parts[k].salt == salt)
                text_printf(out, "  %8.2f g  for %.2f L of %s\n", room->waters[i].parts[k].grams,
                            room->waters[i].mix_l, page->site->waters[room->waters[i].water].name);
    for (int i = 0; i < room->salt_count; i++) {
        const struct week_salt *w = &room->salts[i];
        if (w->salt != salt)
            continue;
        text_printf(out, "  %8.2f g  together\n", w->grams);
        if (isnan(w->left_g))
            return;
        text_printf(out, "  there: %.1f g", s->stock_g);
        if (utc_is_set(s->stock_since))
            text_printf(out, " on %s - %.1f g in batches noted since = %.1f g",
                        page->day(s->stock_since, day, sizeof day), w->used_g, w->left_g);
        text_printf(out, "\n  a day: %.3f g, %s\n", w->per_day,
                    w->by_batches ? "by the batches noted" : "by this plan (too few batches are noted)");
        if (utc_is_set(w->out))
            text_printf(out, "  used up: %.1f g / %.3f g a day = %.0f days, %s\n", w->left_g, w->per_day,
                        w->left_g / w->per_day, page->day(w->out, day, sizeof day));
        return;
    }
    text_put(out, "  nothing asks for it in these days\n");
}

/* --- a source --- */

static void put_source_value(const struct week_page *page, const struct source_water *w, enum quantity q,
                             struct text *out)
{
    char day[WEEK_DAY_MAX];
    const struct source_value *v = &w->values[q];
    const struct quantity_info *info = quantity_info(q);
    if (v->origin == ORIGIN_NONE)
        return;
    text_put(out, "    ");
    width_put(out, info->name, 5, false);
    text_printf(out, "%.*f %s, by the %s, %s", info->decimals + 1, v->value, info->unit,
                v->origin == ORIGIN_HAND ? "test" : "probe", page->day(v->t, day, sizeof day));
    if (v->tests > 1)
        text_printf(out, "; %d tests within a year, %.4g to %.4g", v->tests, v->lo, v->hi);
    text_put(out, "\n");
}

static void put_wear_dates(const struct week_page *page, const struct source_water *w, struct text *out)
{
    char at[WEEK_DAY_MAX], early[WEEK_DAY_MAX], late[WEEK_DAY_MAX];
    text_printf(out, "  worn out at %.4g µS/cm: (%.4g - %.2f) / %.3f a day = %.0f days, %s\n",
                w->exhausted_ec, w->exhausted_ec, w->values[Q_EC].value, w->trend.per_day,
                (double)(w->exhausted.ms - w->t.ms) / (double)MS_PER_DAY,
                page->day(w->exhausted, at, sizeof at));
    text_printf(out, "  four of five come between %s and %s; resin lets go all at once: order by the first\n",
                page->day(w->early, early, sizeof early),
                utc_is_set(w->late) ? page->day(w->late, late, sizeof late) : "never");
}

static void put_source_water(const struct week_page *page, const struct source_water *w, struct text *out)
{
    char day[WEEK_DAY_MAX];
    for (int q = 0; q < Q_COUNT; q++)
        put_source_value(page, w, (enum quantity)q, out);
    if (!isnan(w->rejection))
        text_printf(out, "  holds back 1 - %.2f / %.0f = %.1f %% (give or take %.1f); the feed is of %s\n",
                    w->values[Q_EC].value, w->feed_ec, 100 * w->rejection, 200 * w->rejection_sd,
                    page->day(w->feed_t, day, sizeof day));
    if (!isnan(w->trend.per_day))
        text_printf(out, "  EC moves by %+.3f a day (give or take %.3f), over %.0f days of %s\n",
                    w->trend.per_day, 2 * w->trend.sd, w->trend.span_d,
                    w->trend_by_tests ? "hand tests" : "its probe");
    if (w->wear == SOURCE_WEARING)
        put_wear_dates(page, w, out);
    else if (w->wear != SOURCE_WEAR_UNKNOWN)
        text_printf(out, "  %s; worn out at %.4g µS/cm\n", source_wear_name(w->wear), w->exhausted_ec);
}

static void put_source_litres(const struct week_page *page, const struct week_source *w, struct text *out)
{
    const struct source *s = &page->site->sources[w->source];
    char day[WEEK_DAY_MAX];
    text_printf(out, "  %8.2f L  to mix\n  %8.2f L  to top off\n", w->mix_l, w->topoff_l);
    if (isnan(w->gives_l)) {
        text_put(out, "  what it gives is not said\n");
        return;
    }
    text_printf(out, "  %8.2f L  it gives: a full container of %.4g L, then %.4g L a day for %.0f days\n",
                w->gives_l, isnan(s->store_l) ? s->makes_l_day : s->store_l,
                isnan(s->makes_l_day) ? 0 : s->makes_l_day, page->room->days - 1);
    if (w->short_l > 0)
        text_printf(out, "  day by day %.1f L are missing, first on %s\n", w->short_l,
                    week_lines_day(page, w->short_at, day, sizeof day));
}

void week_sums_source(const struct week_page *page, int source, struct text *out)
{
    text_printf(out, "%s, %.0f days\n", page->site->places[page->site->sources[source].place].name,
                page->room->days);
    for (int i = 0; i < page->room->source_count; i++) {
        const struct week_source *w = &page->room->sources[i];
        if (w->source != source)
            continue;
        if (w->mix_l > 0 || w->topoff_l > 0)
            put_source_litres(page, w, out);
        else
            text_put(out, "  nothing is taken from it in these days\n");
        put_source_water(page, &w->water, out);
        return;
    }
    text_put(out, "  nothing is taken from it in these days\n");
}
