#include "plan/batch.h"

#include <math.h>
#include <string.h>

#include "water/mixing.h"

#define SIGMAS       2.0
#define OFF_SHARE    0.05
#define OFF_MIX      0.10
#define LEAST_GRAMS  0.005
#define LEAST_LITRES 0.01

static const enum quantity quantities[BATCH_FIGURES] = { Q_EC, Q_GH, Q_KH };

static int find_water(const struct site *site, const char *id)
{
    for (int i = 0; i < site->water_count; i++)
        if (strcmp(site->waters[i].id, id) == 0)
            return i;
    return -1;
}

static int find_salt(const struct site *site, const char *id)
{
    for (int i = 0; i < site->salt_count; i++)
        if (strcmp(site->salts[i].id, id) == 0)
            return i;
    return -1;
}

/* --- what was weighed --- */

static bool expect(const struct site *site, const struct journal_entry *batch, struct mix_plan *plan)
{
    struct mix_part parts[MIX_PARTS_MAX];
    int count = 0;
    for (int i = 0; i < batch->item_count; i++) {
        const struct journal_item *item = &batch->items[i];
        int salt = item->role == JOURNAL_SALT ? find_salt(site, item->name) : -1;
        if (item->role == JOURNAL_SALT && salt < 0)
            return false;
        if (salt >= 0 && count < MIX_PARTS_MAX)
            parts[count++] = (struct mix_part){ .salt = salt, .grams = item->amount };
    }
    return count > 0 && mix_expect(site, batch->litres, parts, count, plan) == STATUS_OK;
}

static void fill_figures(const struct site *site, const struct journal_entry *batch, struct batch_check *c)
{
    struct mix_plan plan;
    /* What tap water brought along is not known here. */
    bool weighed = batch->litres > 0 && site_water_is_pure(site, c->water) && expect(site, batch, &plan);
    for (int i = 0; i < BATCH_FIGURES; i++) {
        struct batch_figure *f = &c->figures[i];
        const struct journal_item *item =
            journal_item(batch, JOURNAL_VALUE, quantity_info(quantities[i])->name);
        f->target = site->waters[c->water].target[quantities[i]];
        f->measured = item == NULL ? (double)NAN : item->amount;
        f->sd = item == NULL ? (double)NAN : item->sd;
        const double by_weight[] = { plan.ec_us_cm, plan.gh_dh, plan.kh_dh };
        f->expected = weighed ? by_weight[i] : (double)NAN;
        double off = fabs(f->measured - f->target);
        f->off = off > SIGMAS * f->sd && off > OFF_SHARE * f->target;
        c->measured = c->measured || !isnan(off);
        c->off = c->off || f->off;
    }
    c->by_weight = c->figures[BATCH_EC].measured / c->figures[BATCH_EC].expected;
    c->doubtful_mix = fabs(c->by_weight - 1) > OFF_MIX;
}

/* --- what to add --- */

static void put_salt(struct batch_check *c, int salt, double grams)
{
    if (grams >= LEAST_GRAMS && c->add_count < MIX_PARTS_MAX)
        c->add[c->add_count++] = (struct mix_part){ .salt = salt, .grams = grams };
}

static bool over(const struct batch_figure *f)
{
    return f->off && f->measured > f->target && f->target > 0;
}

/* As much water as the strongest figure asks for. */
static double dilution(const struct batch_check *c, bool by_hardness)
{
    double d = 1;
    for (int i = by_hardness ? BATCH_GH : BATCH_EC; i <= (by_hardness ? BATCH_KH : BATCH_EC); i++)
        if (over(&c->figures[i]))
            d = fmax(d, c->figures[i].measured / c->figures[i].target);
    return d;
}

static bool add_by_hardness(const struct site *site, struct batch_check *c)
{
    const struct water *w = &site->waters[c->water];
    const struct batch_figure *gh = &c->figures[BATCH_GH], *kh = &c->figures[BATCH_KH];
    struct mixing_salt salts[MIXING_SALTS_MAX];
    double grams[MIXING_SALTS_MAX], d = dilution(c, true);
    int count = w->recipe_count < MIXING_SALTS_MAX ? w->recipe_count : MIXING_SALTS_MAX;
    for (int i = 0; i < count; i++) {
        struct mix_plan one;
        struct mix_part gram = { .salt = w->recipe[i].salt, .grams = 1 };
        if (mix_expect(site, 1, &gram, 1, &one) != STATUS_OK)
            return false;
        salts[i] = (struct mixing_salt){ one.gh_dh, one.kh_dh };
    }
    struct mixing_dose dose = { c->litres * d, gh->measured / d, kh->measured / d,
                                fmax(gh->target, gh->measured / d), fmax(kh->target, kh->measured / d) };
    if (count == 0 || isnan(dose.gh1_dh + dose.kh1_dh) ||
        mixing_grams(&dose, salts, (size_t)count, grams, NULL) != STATUS_OK)
        return false;
    c->add_l = c->litres * (d - 1);
    for (int i = 0; i < count; i++)
        put_salt(c, w->recipe[i].salt, grams[i]);
    return true;
}

/* All of the recipe alike. */
static bool add_by_ec(const struct site *site, struct batch_check *c)
{
    const struct batch_figure *ec = &c->figures[BATCH_EC];
    const struct water *w = &site->waters[c->water];
    if (!ec->off)
        return false;
    c->add_l = c->litres * (dilution(c, false) - 1);
    for (int i = 0; i < w->recipe_count && ec->measured < ec->target; i++) {
        if (isnan(w->recipe[i].g_per_l))
            return false;
        put_salt(c, w->recipe[i].salt, w->recipe[i].g_per_l * c->litres * (1 - ec->measured / ec->target));
    }
    return c->add_l >= LEAST_LITRES || c->add_count > 0;
}

enum status batch_check(const struct site *site, const struct journal_entry *batch, struct batch_check *out)
{
    struct batch_check c = { .water = find_water(site, batch->water), .litres = batch->litres };
    if (batch->kind != JOURNAL_BATCH || c.water < 0)
        return STATUS_NONE;
    fill_figures(site, batch, &c);
    bool hardness = c.figures[BATCH_GH].off || c.figures[BATCH_KH].off;
    if (c.off && c.litres > 0)
        c.corrected = (hardness && add_by_hardness(site, &c)) || add_by_ec(site, &c);
    *out = c;
    return STATUS_OK;
}

/* --- in words --- */

static void put_figure(const struct batch_figure *f, enum quantity q, struct text *out)
{
    const struct quantity_info *info = quantity_info(q);
    double off = 100 * (f->measured / f->target - 1);
    if (isnan(f->measured) || isnan(f->target))
        return;
    text_printf(out, "  %s %.*f %s, target %.*f: ", info->name, info->decimals, f->measured, info->unit,
                info->decimals, f->target);
    if (!f->off && fabs(f->measured - f->target) > OFF_SHARE * f->target)
        text_put(out, "no further off than such a test may be\n");
    else if (!f->off)
        text_put(out, "as it should be\n");
    else if (f->target > 0)
        text_printf(out, "%.0f %% too %s\n", fabs(off), off > 0 ? "strong" : "weak");
    else
        text_put(out, "too strong\n");
}

static void put_additions(const struct site *site, const struct batch_check *c, struct text *out)
{
    const char *sep = "";
    text_put(out, "  to bring it right, add ");
    if (c->add_l >= LEAST_LITRES) {
        text_printf(out, "%.1f L of purified water", c->add_l);
        sep = ", then ";
    }
    for (int i = 0; i < c->add_count; i++, sep = ", ")
        text_printf(out, "%s%.2f g of %s", sep, c->add[i].grams, site->salts[c->add[i].salt].name);
    text_put(out, "; stir, measure again, and say so: lentic note --correct\n");
}

void batch_words(const struct site *site, const struct batch_check *c, struct text *out)
{
    for (int i = 0; i < BATCH_FIGURES; i++)
        put_figure(&c->figures[i], quantities[i], out);
    if (!c->measured)
        text_put(out, "  not measured: note its ec before it is used\n");
    if (c->doubtful_mix)
        text_printf(out, "  what was weighed should give %.0f µS/cm: look at scale and litres%s\n",
                    c->figures[BATCH_EC].expected, c->by_weight < 1 ? ", and for a damp jar" : "");
    if (c->corrected)
        put_additions(site, c, out);
    else if (c->off)
        text_put(out, "  do not use it; no simple addition brings it right\n");
}

bool batch_used_words(const struct site *site, const struct journal_entry *batch, struct text *out)
{
    struct batch_check c;
    if (batch_check(site, batch, &c) != STATUS_OK || !c.off)
        return false;
    text_printf(out, "  batch %lld is not as it should be:\n", (long long)batch->id);
    for (int i = 0; i < BATCH_FIGURES; i++)
        if (c.figures[i].off)
            put_figure(&c.figures[i], quantities[i], out);
    text_printf(out, "  watch the animals; lentic note --batch %lld tells which tanks got it\n",
                (long long)batch->id);
    return true;
}
