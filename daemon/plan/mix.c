#include "plan/mix.h"
#include "water/mixing.h"
#include "water/range.h"
#include "water/salts.h"

#include <math.h>
#include <string.h>

/* One standard uncertainty: half of the 6 % of the ionic model; jars and kitchen scales are no better. */
#define EC_RELATIVE_SD 0.03
#define OVER_DH        0.5 /* that the source may be too hard, where the water names no drift */

/* What 1 g/L of a salt adds, from the jar's numbers or from its composition. */
struct strength {
    struct mixing_salt hardness;
    double ec, tds;                   /* NaN: not known, or by composition for ec */
    const struct common_salt *common; /* NULL: described by numbers */
};

static double known_or(double v, double otherwise)
{
    return isnan(v) ? otherwise : v;
}

/* A conductivity that merely repeats the composition at 1 g/L is no knowledge of its own: diluted, each gram
 * conducts more. One from the jar or learnt from batches is. */
static double own_ec(const struct salt *salt, const struct common_salt *common)
{
    struct ions ions = salts_ions(common, 1.0);
    double by_composition;
    if (ions_ec25(&ions, &by_composition, NULL) != STATUS_OK || isnan(salt->ec))
        return salt->ec;
    return fabs(salt->ec - by_composition) < 1e-6 * by_composition ? (double)NAN : salt->ec;
}

static struct strength strength_of(const struct salt *salt)
{
    struct strength s = { { known_or(salt->gh, 0.0), known_or(salt->kh, 0.0) }, salt->ec, salt->tds, NULL };
    if (salt->composition == NULL)
        return s;
    s.common = salts_find(salt->composition, NULL);
    if (s.common == NULL)
        return s;
    struct salt_power power = salts_power(s.common);
    s.hardness = (struct mixing_salt){ known_or(salt->gh, power.gh_dh), known_or(salt->kh, power.kh_dh) };
    s.tds = known_or(salt->tds, power.tds_mg_l);
    s.ec = own_ec(salt, s.common);
    return s;
}

static enum status choose_salts(const struct site *site, const struct water *water, struct mix_plan *plan,
                                bool *weighed, struct why *why)
{
    int count = water->recipe_count > 0 ? water->recipe_count : site->salt_count;
    *weighed = water->recipe_count > 0;
    if (count < 1 || count > MIX_PARTS_MAX)
        return why_say(why, STATUS_INVALID, "water %s: %d salts to choose from; 1 to %d are possible",
                       water->id, count, MIX_PARTS_MAX);
    for (int i = 0; i < count; i++) {
        plan->parts[i].salt = water->recipe_count > 0 ? water->recipe[i].salt : i;
        if (water->recipe_count > 0 && isnan(water->recipe[i].g_per_l))
            *weighed = false;
    }
    plan->count = count;
    return STATUS_OK;
}

static void weigh_recipe(const struct water *water, struct mix_plan *plan)
{
    for (int i = 0; i < plan->count; i++)
        plan->parts[i].grams = water->recipe[i].g_per_l * plan->volume_l;
}

/* --- from water that has minerals of its own --- */

/* Hardness of the recipe as it is written: all of it, and what its salts with KH bring. */
struct recipe_hardness {
    double gh, kh, gh_of_kh;
};

static struct recipe_hardness recipe_hardness(const struct site *site, const struct mix_plan *plan)
{
    struct recipe_hardness h = { 0, 0, 0 };
    for (int i = 0; i < plan->count; i++) {
        struct strength s = strength_of(&site->salts[plan->parts[i].salt]);
        double g_per_l = plan->parts[i].grams / plan->volume_l;
        h.gh += g_per_l * s.hardness.gh_dh;
        h.kh += g_per_l * s.hardness.kh_dh;
        h.gh_of_kh += s.hardness.kh_dh > 0 ? g_per_l * s.hardness.gh_dh : 0;
    }
    return h;
}

static double allowed(const struct water *water, enum quantity q)
{
    return isnan(water->drift[q]) || water->drift[q] <= 0 ? OVER_DH : water->drift[q];
}

static enum status refuse_hard(const struct water *water, const struct mix_source *source,
                               struct recipe_hardness h, struct why *why)
{
    double whole = source->hard_share > 0 ? source->hard_share : 1;
    double most = whole * fmin(h.gh / source->gh_dh, h.kh / source->kh_dh);
    if (isnan(most) || most < 0.01)
        return why_say(
            why, STATUS_REFUSED,
            "water %s: what it is made from has GH %.1f and KH %.1f, the recipe GH %.1f and KH %.1f: "
            "salts only add, make it from purified water",
            water->id, source->gh_dh, source->kh_dh, h.gh, h.kh);
    return why_say(
        why, STATUS_REFUSED,
        "water %s: what it is made from has GH %.1f and KH %.1f, the recipe GH %.1f and KH %.1f: salts "
        "only add; with purified water for the rest, at most %.0f %% may be hard",
        water->id, source->gh_dh, source->kh_dh, h.gh, h.kh, floor(100 * most));
}

static double scale(double wanted, double of)
{
    return of > 0 ? fmax(wanted / of, 0) : 1;
}

static enum status take_off(const struct site *site, const struct water *water,
                            const struct mix_source *source, struct mix_plan *plan, struct why *why)
{
    struct recipe_hardness h = recipe_hardness(site, plan);
    double with_kh = scale(h.kh - source->kh_dh, h.kh);
    double others = scale(h.gh - source->gh_dh - with_kh * h.gh_of_kh, h.gh - h.gh_of_kh);
    if (source->gh_dh + with_kh * h.gh_of_kh > h.gh + allowed(water, Q_GH) ||
        source->kh_dh > h.kh + allowed(water, Q_KH))
        return refuse_hard(water, source, h, why);
    for (int i = 0; i < plan->count; i++) {
        struct strength s = strength_of(&site->salts[plan->parts[i].salt]);
        plan->parts[i].grams *= s.hardness.kh_dh > 0 ? with_kh : s.hardness.gh_dh > 0 ? others : 1;
    }
    return STATUS_OK;
}

/* Salts without hardness have no part in a sum for GH and KH and stay out of it. */
static enum status solve_hardness(const struct site *site, const struct water *water,
                                  const struct mix_source *source, struct mix_plan *plan, struct why *why)
{
    struct mixing_salt salts[MIX_PARTS_MAX];
    int of_part[MIX_PARTS_MAX];
    double grams[MIX_PARTS_MAX];
    size_t count = 0;
    double gh = water->target[Q_GH], kh = water->target[Q_KH];
    if (isnan(gh) || isnan(kh))
        return why_say(why, STATUS_REFUSED,
                       "water %s has neither amounts in its recipe nor targets of gh and kh", water->id);
    for (int i = 0; i < plan->count; i++) {
        struct strength s = strength_of(&site->salts[plan->parts[i].salt]);
        if (s.hardness.gh_dh <= 0.0 && s.hardness.kh_dh <= 0.0)
            continue;
        of_part[count] = i;
        salts[count++] = s.hardness;
    }
    struct mixing_dose dose = { plan->volume_l, source->gh_dh, source->kh_dh, gh, kh };
    enum status st = mixing_grams(&dose, salts, count, grams, why);
    for (size_t i = 0; st == STATUS_OK && i < count; i++)
        plan->parts[of_part[i]].grams = grams[i];
    return st;
}

/* Salts of known composition act together, by their ions; the others by the numbers on the jar. */
static void expect(const struct site *site, const struct mix_source *source, struct mix_plan *plan)
{
    struct ions ions = { { 0 } };
    double ec_by_ions = 0.0;
    plan->gh_dh = source->gh_dh;
    plan->kh_dh = source->kh_dh;
    plan->ec_us_cm = source->ec_us_cm;
    plan->tds_mg_l = source->gh_dh > 0 || source->kh_dh > 0 ? (double)NAN : 0.0;
    for (int i = 0; i < plan->count; i++) {
        struct strength s = strength_of(&site->salts[plan->parts[i].salt]);
        double g_per_l = plan->parts[i].grams / plan->volume_l;
        if (g_per_l <= 0.0)
            continue;
        plan->gh_dh += g_per_l * s.hardness.gh_dh;
        plan->kh_dh += g_per_l * s.hardness.kh_dh;
        plan->tds_mg_l += g_per_l * s.tds;
        if (s.common == NULL || !isnan(s.ec)) {
            plan->ec_us_cm += g_per_l * s.ec;
            continue;
        }
        struct ions part = salts_ions(s.common, g_per_l);
        for (int k = 0; k < ION_COUNT; k++)
            ions.mmol_l[k] += part.mmol_l[k];
    }
    if (ions_ec25(&ions, &ec_by_ions, NULL) != STATUS_OK)
        ec_by_ions = (double)NAN;
    plan->ec_us_cm += ec_by_ions;
    plan->ec_sd_us_cm = EC_RELATIVE_SD * plan->ec_us_cm;
}

static void drop_empty_parts(const struct site *site, struct mix_plan *plan)
{
    int kept = 0;
    for (int i = 0; i < plan->count; i++) {
        struct mix_part part = plan->parts[i];
        if (part.grams <= 0.0)
            continue;
        part.short_of_stock = part.grams > site->salts[part.salt].stock_g;
        plan->parts[kept++] = part;
    }
    plan->count = kept;
}

static void compare(const struct water *water, struct mix_plan *plan)
{
    plan->ec_off = plan->ec_us_cm - water->target[Q_EC];
    plan->ec_doubtful = fabs(plan->ec_off) > fmax(2.0 * plan->ec_sd_us_cm, 0.1 * water->target[Q_EC]);
}

enum status mix_expect(const struct site *site, double volume_l, const struct mix_part *parts, int count,
                       struct mix_plan *out)
{
    static const struct mix_source pure = { 0, 0, 0, 0 };
    struct mix_plan plan = { .volume_l = volume_l, .count = count };
    if (!(volume_l > 0) || count < 1 || count > MIX_PARTS_MAX)
        return STATUS_INVALID;
    memcpy(plan.parts, parts, (size_t)count * sizeof *parts);
    expect(site, &pure, &plan);
    *out = plan;
    return STATUS_OK;
}

enum status mix_eval(const struct site *site, int water, double volume_l, const struct mix_source *source,
                     struct mix_plan *out, struct why *why)
{
    struct mix_plan plan = { .volume_l = volume_l };
    bool weighed;
    if (water < 0 || water >= site->water_count)
        return why_say(why, STATUS_INVALID, "there is no such water");
    if (!(volume_l > 0.0))
        return why_say(why, STATUS_INVALID, "the volume must be more than 0 L");
    enum status st = range_check(why, "volume", volume_l, 0.0, 100000.0, "L");
    const struct water *w = &site->waters[water];
    if (st == STATUS_OK)
        st = choose_salts(site, w, &plan, &weighed, why);
    if (st == STATUS_OK && weighed)
        weigh_recipe(w, &plan);
    if (st == STATUS_OK && weighed && (source->gh_dh > 0 || source->kh_dh > 0))
        st = take_off(site, w, source, &plan, why);
    else if (st == STATUS_OK && !weighed)
        st = solve_hardness(site, w, source, &plan, why);
    if (st != STATUS_OK)
        return st;
    expect(site, source, &plan);
    drop_empty_parts(site, &plan);
    compare(w, &plan);
    *out = plan;
    return STATUS_OK;
}
