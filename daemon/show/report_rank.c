/* What a keeper should look at. */
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "show/report_page.h"

#define OUTSIDE_LEAST 0.01 /* share of the time out of the band that is worth a word */
#define GOOD_LEAST    0.90 /* share of good readings below which the probe is */

struct ranking {
    enum report_rank rank;
    struct text *why;
};

static void rise(struct ranking *r, enum report_rank rank)
{
    if (rank > r->rank)
        r->rank = rank;
    if (r->why->len > 0)
        text_put(r->why, "; ");
}

static void take_standing(const struct report_page *page, int place, struct ranking *r)
{
    const char *text = page->site->places[place].text;
    for (int i = 0; i < page->standing_count; i++) {
        const struct notice *n = &page->standing[i];
        if (strcmp(n->place, text) != 0 || !notice_is_active(n) || n->leader[0] != '\0')
            continue;
        rise(r, (enum report_rank)(REPORT_STANDS_LOW + (int)n->priority));
        text_printf(r->why, "%s now", n->title);
    }
}

/* Each kind of alert once. Notices of low priority about probes are in the sheet. */
static void take_spells(const struct report_page *page, int place, struct ranking *r)
{
    for (int i = 0; i < page->spell_count; i++) {
        const struct report_spell *s = &page->spells[i];
        int times = 0;
        bool first = true;
        if (s->place != place || !s->sent || !utc_is_set(s->ended) || s->n.priority == PRIORITY_LOW)
            continue;
        for (int k = 0; k < page->spell_count; k++)
            if (strcmp(page->spells[k].n.ref, s->n.ref) == 0 && page->spells[k].sent &&
                utc_is_set(page->spells[k].ended)) {
                first = first && k >= i;
                times++;
            }
        if (!first)
            continue;
        rise(r, REPORT_STOOD_OUT);
        text_printf(r->why, "%s", s->n.title);
        if (times > 1)
            text_printf(r->why, ", %d times", times);
    }
}

static void put_value(struct text *out, double v, const struct quantity_info *info)
{
    char number[48];
    number_format(number, sizeof number, v, info->decimals);
    text_printf(out, "%s%s%s", number, info->unit[0] != '\0' ? " " : "", info->unit);
}

/* What an alert said already needs no second word. */
static bool is_said(const struct ranking *r, enum quantity q, const char *what)
{
    char words[96];
    struct text t = text_over(words, sizeof words);
    text_printf(&t, "%s %s", quantity_info(q)->title, what);
    return strstr(r->why->buf, words) != NULL;
}

static void take_series(const struct report_series *s, struct ranking *r)
{
    const struct quantity_info *info = quantity_info(s->quantity);
    const struct tally *t = &s->tally;
    if (1 - t->in_band >= OUTSIDE_LEAST && !is_said(r, s->quantity, "below the band") &&
        !is_said(r, s->quantity, "above the band")) {
        rise(r, REPORT_STOOD_OUT);
        text_printf(r->why, "%s out of the band %.0f %% of the time", info->title,
                    fmax(1, (1 - t->in_band) * 100));
    }
    if (t->swing > s->day_range && !is_said(r, s->quantity, "swings")) {
        rise(r, REPORT_STOOD_OUT);
        text_printf(r->why, "%s swings by ", info->title);
        put_value(r->why, t->swing, info);
        text_put(r->why, " within a day");
    }
    if (t->n > 0 && (double)t->good < GOOD_LEAST * (double)t->n) {
        rise(r, REPORT_STOOD_OUT);
        text_printf(r->why, "only %.0f %% of the %s readings are good",
                    floor(100 * (double)t->good / (double)t->n), info->title);
    }
    if (s->probed && t->n == 0) {
        rise(r, REPORT_STOOD_OUT);
        text_printf(r->why, "no reading of %s", info->title);
    }
}

enum report_rank report_page_rank(const struct report_page *page, int index, struct text *why)
{
    const struct report_place *p = &page->places[index];
    struct ranking r = { REPORT_QUIET, why };
    take_standing(page, p->place, &r);
    take_spells(page, p->place, &r);
    for (int i = 0; i < p->series_count; i++)
        take_series(&p->series[i], &r);
    return r.rank;
}
