#include "show/week_supply.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "show/week_lines.h"
#include "show/width.h"

#define FAR_DAYS 370

/* --- what to prepare --- */

static void put_grams(struct text *words, double grams)
{
    text_printf(words, "%.*f g", grams < 10 ? 2 : 1, grams);
}

static int source_of(const struct site *site, int place)
{
    return place < 0 ? -1 : site_source_at(site, place);
}

void week_supply_from(const struct site *site, int water, double litres, struct text *out)
{
    const struct water *w = &site->waters[water];
    int source = source_of(site, w->source), blend = source_of(site, w->blend);
    if (source >= 0 && blend < 0)
        text_printf(out, "%.1f L from %s", litres, site->places[w->source].id);
    else if (source >= 0)
        text_printf(out, "%.1f L from %s and %.1f L from %s", litres * (1 - w->blend_share),
                    site->places[w->source].id, litres * w->blend_share, site->places[w->blend].id);
}

static void put_stored(const struct week_page *page, const struct week_water *w, struct text *words)
{
    if (w->stored_from == WEEK_STORED_NONE || !(w->stored_l > 0.05))
        return;
    text_printf(words, w->mix_l > 0.05 ? "; %.1f L stand mixed" : "; enough stands mixed", w->stored_l);
    if (w->stored_from == WEEK_STORED_BATCH)
        text_printf(words, " (batch %lld)", (long long)w->batch);
    else
        text_printf(words, " in %s", page->site->places[page->site->stores[w->store].place].id);
}

static void put_weights(const struct week_page *page, const struct week_water *w, struct text *words)
{
    char buf[160];
    struct text from = text_over(buf, sizeof buf);
    const struct site *site = page->site;
    bool blended = source_of(site, site->waters[w->water].blend) >= 0;
    if (blended || w->stored_l > 0.05)
        week_supply_from(site, w->water, w->mix_l, &from);
    text_printf(words, ": %s%s%sweigh ", from.len > 0 ? "take " : "", buf, from.len > 0 ? ", " : "");
    for (int i = 0; i < w->part_count; i++) {
        text_put(words, i == 0 ? "" : i + 1 == w->part_count ? " and " : ", ");
        put_grams(words, w->parts[i].grams);
        text_printf(words, " of %s", site->salts[w->parts[i].salt].name);
    }
    if (w->part_count == 0)
        text_put(words, "nothing");
    text_put(words, "; expect ");
    if (!isnan(w->ec))
        text_printf(words, "EC %.0f (give or take %.0f), ", w->ec, 2 * w->ec_sd);
    text_printf(words, "GH %.1f, KH %.1f", w->gh, w->kh);
}

static void put_water(const struct week_page *page, const struct week_water *w, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
    struct text words = text_over(buf, sizeof buf);
    text_printf(&words, "%.1f L of %s for %d tank%s", w->litres, page->site->waters[w->water].name, w->tanks,
                w->tanks == 1 ? "" : "s");
    put_stored(page, w, &words);
    if (!w->mixed)
        text_printf(&words, ": cannot be weighed: %s", w->why.text);
    else if (w->mix_l > 0.05)
        put_weights(page, w, &words);
    week_lines_put(page, week_lines_day(page, w->first, day, sizeof day), buf, out);
}

/* What its water is, and when a unit is worn out. */
static void put_source_words(const struct week_source *s, struct text *words)
{
    char buf[256];
    struct text water = text_over(buf, sizeof buf);
    source_water_words(&s->water, &water);
    if (water.len > 0)
        text_printf(words, ". Its water: %s", buf);
}

static void put_source(const struct week_page *page, const struct week_source *s, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
    struct text words = text_over(buf, sizeof buf);
    const struct source *source = &page->site->sources[s->source];
    bool drawn = s->mix_l > 0 || s->topoff_l > 0;
    bool limited = source->kind == SOURCE_PURIFIED || source->kind == SOURCE_RAIN;
    if (!drawn && s->water.wear == SOURCE_WEAR_UNKNOWN)
        return; /* what feeds a unit, or stands by */
    if (drawn)
        text_printf(&words, "%.1f L: %.1f to mix, %.1f to top off", s->mix_l + s->topoff_l, s->mix_l,
                    s->topoff_l);
    else
        text_put(&words, "nothing is taken in these days");
    if (s->unknown_topoffs > 0)
        text_printf(&words, " (not known for %d tank%s)", s->unknown_topoffs,
                    s->unknown_topoffs == 1 ? "" : "s");
    if (isnan(s->gives_l) && limited && drawn)
        text_put(&words, "; what it gives is not said");
    else if (!isnan(s->gives_l) && drawn)
        text_printf(&words, "; it gives %.0f L in these days", s->gives_l);
    if (s->short_l > 0)
        text_printf(&words, ". SHORT of %.1f L, first %s: spread the changes, or fill containers before",
                    s->short_l, week_lines_day(page, s->short_at, day, sizeof day));
    else if (!isnan(s->gives_l) && drawn)
        text_put(&words, ", enough");
    put_source_words(s, &words);
    week_lines_put(page, page->site->places[source->place].id, buf, out);
}

/* --- salts --- */

static void put_salt(const struct week_page *page, const struct week_salt *s, struct text *out)
{
    char day[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
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
    week_lines_put(page, page->site->salts[s->salt].id, buf, out);
}

static void put_salts(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->room->salt_count; i++) {
        week_lines_heading(out, &begun, "Salts");
        put_salt(page, &page->room->salts[i], out);
    }
}

/* --- top-off --- */

static void put_topoff(const struct week_page *page, const struct week_tank *w, struct text *out)
{
    char day[WEEK_DAY_MAX], filled[WEEK_DAY_MAX], buf[WEEK_LINES_WORDS];
    struct text words = text_over(buf, sizeof buf);
    text_printf(&words, "%.2f L a day, %.1f L in these days", w->topoff_l_day, w->topoff_l_day * w->days);
    if (w->topoff_from == WEEK_TOPOFF_SEEN)
        text_put(&words, " (evaporation, by the level)");
    if (w->topoff_from == WEEK_TOPOFF_RECKONED)
        text_put(&words, " (reckoned for still water in such a room: half or double)");
    if (w->topoff_from == WEEK_TOPOFF_NOTED)
        text_put(&words, " (as noted)");
    if (!isnan(w->reservoir_lasts_d)) {
        text_printf(&words, "; the reservoir of %.3g L lasts %.0f days", w->reservoir_l,
                    w->reservoir_lasts_d);
        if (utc_is_set(w->reservoir_empty))
            text_printf(&words, ", filled %s: empty %s",
                        week_lines_day(page, w->reservoir_filled, filled, sizeof filled),
                        w->reservoir_empty.ms <= w->from.ms
                            ? "by now, look"
                            : week_lines_day(page, w->reservoir_empty, day, sizeof day));
    }
    week_lines_put(page, page->site->tanks[w->tank].id, buf, out);
}

static void put_topoffs(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->tank_count; i++)
        if (page->tanks[i].topoff_l_day > 0) {
            week_lines_heading(out, &begun, "Top-off with purified water");
            put_topoff(page, &page->tanks[i], out);
        }
}

void week_supply_put(const struct week_page *page, struct text *out)
{
    bool begun = false;
    for (int i = 0; i < page->room->water_count; i++) {
        week_lines_heading(out, &begun, "To prepare, until then");
        put_water(page, &page->room->waters[i], out);
    }
    begun = false;
    for (int i = 0; i < page->room->source_count; i++) {
        week_lines_heading(out, &begun, "Source water");
        put_source(page, &page->room->sources[i], out);
    }
    put_topoffs(page, out);
    put_salts(page, out);
}
