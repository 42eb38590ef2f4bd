#include "show/week_sums_room.h"

#include <math.h>
#include <string.h>

#include "show/week_lines.h"
#include "show/week_supply.h"
#include "show/width.h"

/* --- a water --- */

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
