#include "water/salts.h"
#include "water/activity.h"
#include "water/range.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

#define MMOL_PER_DH   0.178326
#define MEQ_PER_DH    0.356652
#define STRENGTH_MOST 0.5
#define NAME_MAX_TEXT 64

/* Coefficients of McCleskey et al. (2012), table 1: lambda0 = l2 t^2 + l1 t + l0, A = a2 t^2 + a1 t + a0. */
static const struct {
    const char *name;
    int charge;
    double g_per_mol;
    double l2, l1, l0, a2, a1, a0, b;
} ion_table[ION_COUNT] = {
    [ION_CA] = { "ca", 2, 40.078, 0.009645, 1.984, 62.28, 0.03174, 2.334, 132.3, 2.8 },
    [ION_MG] = { "mg", 2, 24.305, 0.01068, 1.695, 57.16, 0.02453, 1.915, 80.5, 2.1 },
    [ION_NA] = { "na", 1, 22.98977, 0.003763, 0.8770, 26.23, 0.00027, 1.141, 32.07, 1.7 },
    [ION_K] = { "k", 1, 39.0983, 0.003046, 1.261, 40.70, 0.00535, 0.9316, 22.59, 1.5 },
    [ION_CL] = { "cl", -1, 35.453, 0.003817, 1.337, 40.99, 0.00613, 0.9469, 22.01, 1.5 },
    [ION_SO4] = { "so4", -2, 96.056, 0.01037, 2.838, 82.37, 0.03324, 5.889, 193.5, 2.6 },
    [ION_HCO3] = { "hco3", -1, 61.016, 0.000614, 0.9048, 21.14, -0.00503, 0.8957, 10.97, 0.1 },
    [ION_NO3] = { "no3", -1, 62.004, 0.001925, 1.214, 39.90, 0.00118, 0.5045, 23.31, 0.1 },
};

/*                                                                   Ca Mg Na K Cl SO4 HCO3 NO3 */
static const struct common_salt salts[] = {
    { "CaCl2.2H2O", "calcium chloride dihydrate", 147.014, { 1, 0, 0, 0, 2, 0, 0, 0 }, 400 },
    { "CaCl2", "calcium chloride", 110.984, { 1, 0, 0, 0, 2, 0, 0, 0 }, 400 },
    { "CaSO4.2H2O", "gypsum", 172.164, { 1, 0, 0, 0, 0, 1, 0, 0 }, 2.4 },
    { "MgSO4.7H2O", "magnesium sulphate heptahydrate", 246.466, { 0, 1, 0, 0, 0, 1, 0, 0 }, 400 },
    { "MgSO4", "magnesium sulphate", 120.361, { 0, 1, 0, 0, 0, 1, 0, 0 }, 250 },
    { "MgCl2.6H2O", "magnesium chloride hexahydrate", 203.301, { 0, 1, 0, 0, 2, 0, 0, 0 }, 400 },
    { "KHCO3", "potassium bicarbonate", 100.114, { 0, 0, 0, 1, 0, 0, 1, 0 }, 200 },
    { "NaHCO3", "sodium bicarbonate", 84.006, { 0, 0, 1, 0, 0, 0, 1, 0 }, 80 },
    { "CaCO3", "calcium carbonate", 100.086, { 1, 0, 0, 0, 0, 0, 2, 0 }, 1.0 },
    { "K2SO4", "potassium sulphate", 174.253, { 0, 0, 0, 2, 0, 1, 0, 0 }, 90 },
    { "NaCl", "sodium chloride", 58.443, { 0, 0, 1, 0, 1, 0, 0, 0 }, 300 },
    { "KCl", "potassium chloride", 74.551, { 0, 0, 0, 1, 1, 0, 0, 0 }, 300 },
    { "KNO3", "potassium nitrate", 101.102, { 0, 0, 0, 1, 0, 0, 0, 1 }, 200 },
};
#define SALT_COUNT (sizeof salts / sizeof *salts)

const char *ion_name(enum ion ion)
{
    return ion_table[ion].name;
}

const struct common_salt *salts_at(size_t index)
{
    return index < SALT_COUNT ? &salts[index] : NULL;
}

static void letters_only(const char *s, char out[NAME_MAX_TEXT])
{
    size_t at = 0;
    for (; *s != '\0' && at < NAME_MAX_TEXT - 1; s++)
        if (isalnum((unsigned char)*s))
            out[at++] = (char)tolower((unsigned char)*s);
    out[at] = '\0';
}

static size_t shared_start(const char *a, const char *b)
{
    size_t n = 0;
    while (a[n] != '\0' && a[n] == b[n])
        n++;
    return n;
}

const struct common_salt *salts_find(const char *name, struct why *why)
{
    char wanted[NAME_MAX_TEXT], own[NAME_MAX_TEXT];
    letters_only(name, wanted);
    const struct common_salt *nearest = &salts[0];
    size_t best = 0;
    for (size_t i = 0; i < SALT_COUNT; i++) {
        const char *names[] = { salts[i].name, salts[i].plain };
        for (size_t k = 0; k < 2; k++) {
            letters_only(names[k], own);
            if (strcmp(own, wanted) == 0)
                return &salts[i];
            size_t shared = shared_start(own, wanted);
            if (shared > best) {
                best = shared;
                nearest = &salts[i];
            }
        }
    }
    (void)why_say(why, STATUS_NONE, "no salt is named \"%.40s\" in the table; the nearest is %s (%s)", name,
                  nearest->name, nearest->plain);
    return NULL;
}

struct ions salts_ions(const struct common_salt *salt, double g_per_l)
{
    struct ions ions = { { 0 } };
    for (int i = 0; i < ION_COUNT; i++)
        ions.mmol_l[i] = 1000.0 * g_per_l / salt->g_per_mol * salt->per_formula[i];
    return ions;
}

struct salt_power salts_power(const struct common_salt *salt)
{
    struct ions ions = salts_ions(salt, 1.0);
    return (struct salt_power){ ions_gh(&ions), ions_kh(&ions), ions_tds(&ions) };
}

double ions_gh(const struct ions *ions)
{
    return (ions->mmol_l[ION_CA] + ions->mmol_l[ION_MG]) / MMOL_PER_DH;
}

double ions_kh(const struct ions *ions)
{
    return ions->mmol_l[ION_HCO3] / MEQ_PER_DH;
}

double ions_tds(const struct ions *ions)
{
    double sum = 0.0;
    for (int i = 0; i < ION_COUNT; i++)
        sum += ions->mmol_l[i] * ion_table[i].g_per_mol;
    return sum;
}

double ions_balance(const struct ions *ions)
{
    double signed_sum = 0.0, sum = 0.0;
    for (int i = 0; i < ION_COUNT; i++) {
        double charge = ions->mmol_l[i] * ion_table[i].charge;
        signed_sum += charge;
        sum += fabs(charge);
    }
    return sum > 0.0 ? signed_sum / sum : 0.0;
}

static double strength_of(const double mol_l[ION_COUNT])
{
    double sum = 0.0;
    for (int i = 0; i < ION_COUNT; i++)
        sum += 0.5 * mol_l[i] * ion_table[i].charge * ion_table[i].charge;
    return sum;
}

/* Sulphate left free when each metal binds by K' = K g2^2; monotone in the answer, hence the bisection. */
static double free_sulphate(double total, double ca, double mg, double k_ca, double k_mg)
{
    double lo = 0.0, hi = total;
    for (int i = 0; i < 60; i++) {
        double free_so4 = 0.5 * (lo + hi);
        double bound =
            ca * k_ca * free_so4 / (1.0 + k_ca * free_so4) + mg * k_mg * free_so4 / (1.0 + k_mg * free_so4);
        if (free_so4 + bound < total)
            lo = free_so4;
        else
            hi = free_so4;
    }
    return 0.5 * (lo + hi);
}

/* Pairs and ionic strength depend on each other; a dozen rounds settle both beyond 1e-9. */
static double take_pairs_out(double mol_l[ION_COUNT])
{
    const double log_k_ca = 2.30, log_k_mg = 2.37;
    const double ca = mol_l[ION_CA], mg = mol_l[ION_MG], so4 = mol_l[ION_SO4];
    double strength = strength_of(mol_l);
    for (int round = 0; round < 30; round++) {
        double g2 = activity_coefficient(2, strength, 25.0);
        double k_ca = pow(10.0, log_k_ca) * g2 * g2;
        double k_mg = pow(10.0, log_k_mg) * g2 * g2;
        mol_l[ION_SO4] = free_sulphate(so4, ca, mg, k_ca, k_mg);
        mol_l[ION_CA] = ca / (1.0 + k_ca * mol_l[ION_SO4]);
        mol_l[ION_MG] = mg / (1.0 + k_mg * mol_l[ION_SO4]);
        strength = strength_of(mol_l);
    }
    return strength;
}

/* mS cm^2/mol of the ion at 25 degrees. */
static double molar_conductivity(int ion, double strength)
{
    const double t = 25.0;
    double limiting = ion_table[ion].l2 * t * t + ion_table[ion].l1 * t + ion_table[ion].l0;
    double a = ion_table[ion].a2 * t * t + ion_table[ion].a1 * t + ion_table[ion].a0;
    double root = sqrt(strength);
    return limiting - a * root / (1.0 + ion_table[ion].b * root);
}

enum status ions_ec25(const struct ions *ions, double *ec25_us_cm, struct why *why)
{
    double mol_l[ION_COUNT];
    for (int i = 0; i < ION_COUNT; i++) {
        enum status st = range_check(why, ion_table[i].name, ions->mmol_l[i], 0.0, 1000.0, "mmol/L");
        if (st != STATUS_OK)
            return st;
        mol_l[i] = ions->mmol_l[i] / 1000.0;
    }
    enum status st = range_check(why, "ionic strength", strength_of(mol_l), 0.0, STRENGTH_MOST, "mol/L");
    if (st != STATUS_OK)
        return st;
    double strength = take_pairs_out(mol_l);
    double sum = 0.0;
    for (int i = 0; i < ION_COUNT; i++)
        sum += mol_l[i] * molar_conductivity(i, strength);
    *ec25_us_cm = 1000.0 * sum;
    return STATUS_OK;
}
