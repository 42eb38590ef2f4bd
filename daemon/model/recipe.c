#include "model/recipe.h"

#include <math.h>

#include "water/salts.h"

#define STRENGTH_MOST 20.0
#define STEPS_MOST    8
#define EC_NEAR       1e-6 /* relative */

static bool amounts_known(const struct water *water)
{
    for (int i = 0; i < water->recipe_count; i++)
        if (isnan(water->recipe[i].g_per_l))
            return false;
    return water->recipe_count > 0;
}

/* A jar's own conductivity counts before that of the composition; the loader fills in the latter at 1 g/L,
 * which is not knowledge of its own. */
static bool by_ions(const struct salt *salt, const struct common_salt *common)
{
    double ec;
    if (common == NULL)
        return false;
    struct ions ions = salts_ions(common, 1.0);
    return isnan(salt->ec) || (ions_ec25(&ions, &ec, NULL) == STATUS_OK && fabs(salt->ec - ec) < 1e-6 * ec);
}

static void add_salt(const struct salt *salt, double g_per_l, struct ions *ions, struct recipe_water *out)
{
    const struct common_salt *common = salt->composition == NULL ? NULL : salts_find(salt->composition, NULL);
    struct salt_power power = { 0, 0, NAN };
    if (common != NULL)
        power = salts_power(common);
    out->gh_dh += g_per_l * (isnan(salt->gh) ? power.gh_dh : salt->gh);
    out->kh_dh += g_per_l * (isnan(salt->kh) ? power.kh_dh : salt->kh);
    out->tds_mg_l += g_per_l * (isnan(salt->tds) ? power.tds_mg_l : salt->tds);
    if (!by_ions(salt, common)) {
        out->ec_us_cm += g_per_l * salt->ec;
        return;
    }
    struct ions part = salts_ions(common, g_per_l);
    for (int k = 0; k < ION_COUNT; k++)
        ions->mmol_l[k] += part.mmol_l[k];
}

static enum status by_amounts(const struct site *site, const struct water *water, double strength,
                              struct recipe_water *out)
{
    struct recipe_water w = { 0 };
    struct ions ions = { { 0 } };
    double ec;
    for (int i = 0; i < water->recipe_count; i++)
        add_salt(&site->salts[water->recipe[i].salt], strength * water->recipe[i].g_per_l, &ions, &w);
    if (ions_ec25(&ions, &ec, NULL) != STATUS_OK || isnan(w.ec_us_cm))
        return STATUS_NONE;
    w.ec_us_cm += ec;
    *out = w;
    return STATUS_OK;
}

enum status recipe_eval(const struct site *site, int water, double strength, struct recipe_water *out)
{
    if (water < 0 || water >= site->water_count || !(strength >= 0 && strength <= STRENGTH_MOST))
        return STATUS_NONE;
    const struct water *w = &site->waters[water];
    if (amounts_known(w))
        return by_amounts(site, w, strength, out);
    double ec = w->target[Q_EC], gh = w->target[Q_GH], kh = w->target[Q_KH];
    if (!(ec > 0) || isnan(gh) || isnan(kh))
        return STATUS_NONE;
    *out = (struct recipe_water){ strength * ec, strength * gh, strength * kh, NAN, true };
    return STATUS_OK;
}

/* Conductivity is nearly a straight line through zero: each step takes it as one. */
enum status recipe_strength(const struct site *site, int water, double ec25_us_cm, double *strength)
{
    struct recipe_water w;
    double k = 1.0;
    for (int i = 0; i < STEPS_MOST; i++) {
        enum status st = recipe_eval(site, water, k, &w);
        if (st != STATUS_OK || !(w.ec_us_cm > 0))
            return STATUS_NONE;
        if (fabs(w.ec_us_cm - ec25_us_cm) <= EC_NEAR * w.ec_us_cm)
            break;
        k *= ec25_us_cm / w.ec_us_cm;
        if (!(k > 0 && k <= STRENGTH_MOST))
            return STATUS_REFUSED;
    }
    *strength = k;
    return STATUS_OK;
}
