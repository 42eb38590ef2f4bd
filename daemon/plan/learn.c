#include "plan/learn.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "plan/mix.h"
#include "water/median.h"

#define ALONE_SHARE                                                                                          \
    0.97 /* of the expected value: the rest moves the estimate by less than its own spread                   \
          */
#define DIFFERS      0.03
#define SIGMAS       2.0
#define MAD_TO_SD    1.4826
#define SPREAD_LEAST 0.005 /* kitchen scales and buckets are no better */

static const char *const figures[] = { "ec", "gh", "kh" };
#define FIGURES (int)(sizeof figures / sizeof *figures)

struct weighed {
    int salts[MIX_PARTS_MAX];
    double g_per_l[MIX_PARTS_MAX];
    int count;
};

static int salt_index(const struct site *site, const char *id)
{
    for (int i = 0; i < site->salt_count; i++)
        if (strcmp(site->salts[i].id, id) == 0)
            return i;
    return -1;
}

static bool is_made_of_tap(const struct site *site, const struct journal_entry *e)
{
    for (int i = 0; i < site->water_count; i++)
        if (strcmp(site->waters[i].id, e->water) == 0)
            return !site_water_is_pure(site, i);
    return false;
}

static bool read_weights(const struct site *site, const struct journal_entry *e, struct weighed *w)
{
    w->count = 0;
    if (e->kind != JOURNAL_BATCH || !journal_counts(e) || !(e->litres > 0) || is_made_of_tap(site, e))
        return false;
    for (int i = 0; i < e->item_count && w->count < MIX_PARTS_MAX; i++) {
        if (e->items[i].role != JOURNAL_SALT || e->items[i].amount <= 0)
            continue;
        int salt = salt_index(site, e->items[i].name);
        if (salt < 0)
            return false;
        w->salts[w->count] = salt;
        w->g_per_l[w->count++] = e->items[i].amount / e->litres;
    }
    return w->count > 0;
}

/* What so much of a salt alone gives, by what counts now. */
static double alone(const struct site *site, int salt, double g_per_l, int figure)
{
    struct mix_part part = { .salt = salt, .grams = g_per_l };
    struct mix_plan plan;
    if (mix_expect(site, 1, &part, 1, &plan) != STATUS_OK)
        return (double)NAN;
    const double v[] = { plan.ec_us_cm, plan.gh_dh, plan.kh_dh };
    return v[figure];
}

/* The salt that makes nearly all of a figure, -1: none does. *rest: what the others make. */
static int maker(const struct site *site, const struct weighed *w, int figure, double *rest)
{
    double total = 0, most = -1;
    int best = -1;
    for (int i = 0; i < w->count; i++) {
        double v = alone(site, w->salts[i], w->g_per_l[i], figure);
        if (isnan(v))
            return -1;
        total += v;
        if (v > most) {
            most = v;
            best = i;
        }
    }
    *rest = total - most;
    return total > 0 && most >= ALONE_SHARE * total ? best : -1;
}

/* --- gathering --- */

struct estimates {
    double v[LEARN_BATCHES_MAX], sd[LEARN_BATCHES_MAX];
    int64_t id[LEARN_BATCHES_MAX];
    int n;
};

/* The oldest gives way: a jar changes. */
static void add(struct estimates *s, double v, double sd, int64_t id)
{
    if (!(v > 0))
        return;
    if (s->n == LEARN_BATCHES_MAX) {
        s->n--;
        memmove(s->v, s->v + 1, (size_t)s->n * sizeof *s->v);
        memmove(s->sd, s->sd + 1, (size_t)s->n * sizeof *s->sd);
        memmove(s->id, s->id + 1, (size_t)s->n * sizeof *s->id);
    }
    s->v[s->n] = v;
    s->sd[s->n] = isnan(sd) ? 0 : sd;
    s->id[s->n++] = id;
}

static void gather_salt(const struct site *site, const struct journal_entry *e, int salt, int figure,
                        struct estimates *s)
{
    struct weighed w;
    double rest;
    const struct journal_item *item = journal_item(e, JOURNAL_VALUE, figures[figure]);
    if (item == NULL || !read_weights(site, e, &w))
        return;
    int best = maker(site, &w, figure, &rest);
    if (best >= 0 && w.salts[best] == salt)
        add(s, (item->amount - rest) / w.g_per_l[best], item->sd / w.g_per_l[best], e->id);
}

/* Solids by weight over the measured conductivity. */
static void gather_water(const struct site *site, const struct journal_entry *e, int water,
                         struct estimates *s)
{
    struct weighed w;
    double tds = 0;
    const struct journal_item *ec = journal_item(e, JOURNAL_VALUE, "ec");
    if (ec == NULL || !(ec->amount > 0) || strcmp(e->water, site->waters[water].id) != 0 ||
        !read_weights(site, e, &w))
        return;
    for (int i = 0; i < w.count; i++)
        tds += w.g_per_l[i] * site->salts[w.salts[i]].tds;
    if (!isnan(tds))
        add(s, tds / ec->amount, tds / ec->amount * ec->sd / ec->amount, e->id);
}

/* --- judging --- */

/* Tests of one kit and lot err alike: their uncertainty does not shrink with their number. */
static void settle(struct learn_result *r, const struct estimates *s, struct learn_proposal p)
{
    double v[LEARN_BATCHES_MAX], away[LEARN_BATCHES_MAX], sd = 0;
    if (s->n < LEARN_LEAST || r->count == LEARN_MOST)
        return;
    memcpy(v, s->v, (size_t)s->n * sizeof *v);
    p.learnt = median_of(v, (size_t)s->n);
    for (int i = 0; i < s->n; i++) {
        away[i] = fabs(s->v[i] - p.learnt);
        sd += s->sd[i] / s->n;
    }
    p.n = s->n;
    p.spread = fmax(MAD_TO_SD * median_of(away, (size_t)s->n), SPREAD_LEAST * p.learnt);
    p.sd = hypot(p.spread / sqrt(s->n), sd);
    memcpy(p.batches, s->id, (size_t)s->n * sizeof *s->id);
    double off = fabs(p.learnt - p.now);
    p.differs = isnan(p.now) || (off > SIGMAS * p.sd && off > DIFFERS * p.now);
    r->items[r->count++] = p;
}

/* A salt of known composition has its figures from there where its own are not said. */
static double figure_now(const struct site *site, int salt, int figure, double g_per_l)
{
    return alone(site, salt, g_per_l, figure) / g_per_l;
}

static double usual_strength(const struct site *site, const struct journal_entry *e, int count, int salt)
{
    struct weighed w;
    double sum = 0;
    int n = 0;
    for (int i = 0; i < count; i++) {
        if (!read_weights(site, &e[i], &w))
            continue;
        for (int k = 0; k < w.count; k++)
            if (w.salts[k] == salt) {
                sum += w.g_per_l[k];
                n++;
            }
    }
    return n == 0 ? (double)NAN : sum / n;
}

static int count_mixed(const struct site *site, const struct journal_entry *batches, int count)
{
    struct weighed w;
    double rest;
    int mixed = 0;
    for (int i = 0; i < count; i++)
        mixed += journal_item(&batches[i], JOURNAL_VALUE, "ec") != NULL &&
                 read_weights(site, &batches[i], &w) && maker(site, &w, 0, &rest) < 0;
    return mixed;
}

void learn_eval(const struct site *site, const struct journal_entry *batches, int count,
                struct learn_result *out)
{
    memset(out, 0, sizeof *out);
    for (int salt = 0; salt < site->salt_count; salt++) {
        double strength = usual_strength(site, batches, count, salt);
        for (int f = 0; f < FIGURES && !isnan(strength); f++) {
            struct estimates s = { .n = 0 };
            for (int i = 0; i < count; i++)
                gather_salt(site, &batches[i], salt, f, &s);
            struct learn_proposal p = { .salt = salt, .water = -1, .figure = figures[f] };
            p.now = figure_now(site, salt, f, strength);
            settle(out, &s, p);
        }
    }
    for (int water = 0; water < site->water_count; water++) {
        struct estimates s = { .n = 0 };
        for (int i = 0; i < count; i++)
            gather_water(site, &batches[i], water, &s);
        struct learn_proposal p = { .salt = -1, .water = water, .figure = "tds" };
        p.now = site->waters[water].tds_per_ec;
        settle(out, &s, p);
    }
    out->mixed = count_mixed(site, batches, count);
}

/* --- in words --- */

static const char *unit_of(const struct learn_proposal *p)
{
    return p->salt < 0 ? "mg/L per µS/cm" : strcmp(p->figure, "ec") == 0 ? "µS/cm" : "°dH";
}

void learn_words(const struct site *site, const struct learn_proposal *p, struct text *out)
{
    double share = 100 * (p->learnt / p->now - 1);
    if (p->salt >= 0)
        text_printf(out, "%s: 1 g/L adds %.4g %s", site->salts[p->salt].id, p->learnt, unit_of(p));
    else
        text_printf(out, "%s: solids are %.3f %s", site->waters[p->water].id, p->learnt, unit_of(p));
    if (isnan(p->now))
        text_put(out, ", nothing was known");
    else if (fabs(share) < 0.5)
        text_put(out, ", as is reckoned with");
    else
        text_printf(out, ", not %.4g (%.0f %% %s)", p->now, fabs(share), share < 0 ? "less" : "more");
    text_printf(out, ": %d batches, spread %.1f %%, good to ± %.2g", p->n, 100 * p->spread / p->learnt,
                p->sd);
}

void learn_entry(const struct site *site, const struct learn_proposal *p, struct journal_entry *out)
{
    journal_clear(out);
    out->kind = JOURNAL_LEARNT;
    struct text why = text_over(out->text, sizeof out->text);
    if (p->salt >= 0)
        snprintf(out->other, sizeof out->other, "%s", site->salts[p->salt].id);
    else
        snprintf(out->water, sizeof out->water, "%s", site->waters[p->water].id);
    if (journal_put(out, JOURNAL_FIGURE, p->figure, p->learnt, p->sd) != STATUS_OK)
        return; /* an empty entry has room for one */
    text_printf(&why, "%d batches, spread %.1f %%, the last ones", p->n, 100 * p->spread / p->learnt);
    for (int i = p->n > 8 ? p->n - 8 : 0; i < p->n; i++)
        text_printf(&why, " %lld", (long long)p->batches[i]);
}
