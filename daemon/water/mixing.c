#include "water/mixing.h"
#include "water/range.h"

#include <math.h>
#include <stdio.h>

#define CONC_MOST   1e9
#define VOLUME_MOST 1e7

/* Rounding of the inputs must not ask for one change more, nor refuse what is exactly on the edge. */
#define EDGE 1e-9

static enum status check_conc(struct why *why, const char *what, double c)
{
    return range_check(why, what, c, 0.0, CONC_MOST, "");
}

static enum status check_three(struct why *why, const char *name_a, double a, const char *name_b, double b,
                               const char *name_c, double c)
{
    enum status st = check_conc(why, name_a, a);
    if (st == STATUS_OK)
        st = check_conc(why, name_b, b);
    if (st == STATUS_OK)
        st = check_conc(why, name_c, c);
    return st;
}

static enum status check_fraction(struct why *why, const char *what, double f)
{
    if (f > 1.0)
        return why_say(why, STATUS_REFUSED, "%s %.6g is more than 100 %% of the tank; the most is 1 (100 %%)",
                       what, f);
    return range_check(why, what, f, 0.0, 1.0, "");
}

static enum status check_volume(struct why *why, const char *what, double v)
{
    if (v == 0.0)
        return why_say(why, STATUS_INVALID, "%s must be more than 0 L", what);
    return range_check(why, what, v, 0.0, VOLUME_MOST, "L");
}

enum status mixing_change(double c0, double cn, double fraction, double *c, struct why *why)
{
    return mixing_repeat(c0, cn, fraction, 1.0, c, why);
}

/* Whether changes with cn lead from c0 to ct at all. */
static enum status check_reach(double c0, double ct, double cn, struct why *why)
{
    if (c0 == cn)
        return why_say(
            why, STATUS_REFUSED,
            "the change water is equal to the tank (%.6g): no change leads to %.6g; use water beyond %.6g",
            cn, ct, ct);
    if ((ct - c0) * (cn - c0) < 0.0)
        return why_say(
            why, STATUS_REFUSED,
            "change water of %.6g leads away from the target %.6g; nearest is %.6g, without a change", cn, ct,
            c0);
    if (fabs(ct - c0) > fabs(cn - c0) * (1.0 + EDGE))
        return why_say(
            why, STATUS_REFUSED,
            "the target %.6g lies beyond the change water: it would take more than 100 %%; nearest is %.6g",
            ct, cn);
    return STATUS_OK;
}

enum status mixing_fraction(double c0, double ct, double cn, double *fraction, struct why *why)
{
    enum status st = check_three(why, "c0", c0, "ct", ct, "cn", cn);
    if (st == STATUS_OK && c0 == ct) {
        *fraction = 0.0;
        return STATUS_OK;
    }
    if (st == STATUS_OK)
        st = check_reach(c0, ct, cn, why);
    if (st == STATUS_OK)
        *fraction = fmin((c0 - ct) / (c0 - cn), 1.0);
    return st;
}

enum status mixing_repeat(double c0, double cn, double fraction, double n, double *c, struct why *why)
{
    enum status st = check_three(why, "c0", c0, "cn", cn, "n", n);
    if (st == STATUS_OK)
        st = check_fraction(why, "fraction", fraction);
    if (st == STATUS_OK && n != floor(n))
        return why_say(why, STATUS_INVALID, "%.6g is not a whole number of changes", n);
    if (st == STATUS_OK)
        *c = cn + (c0 - cn) * pow(1.0 - fraction, n);
    return st;
}

enum status mixing_changes(double c0, double ct, double cn, double fraction_most, double *count,
                           double *fraction, struct why *why)
{
    enum status st = check_three(why, "c0", c0, "ct", ct, "cn", cn);
    if (st == STATUS_OK)
        st = check_fraction(why, "largest fraction", fraction_most);
    if (st == STATUS_OK && fraction_most == 0.0)
        return why_say(why, STATUS_INVALID, "the largest fraction must be more than 0");
    if (st == STATUS_OK && c0 != ct)
        st = check_reach(c0, ct, cn, why);
    if (st != STATUS_OK)
        return st;
    double rest = c0 == ct ? 1.0 : fmax((ct - cn) / (c0 - cn), 0.0);
    if (rest <= 0.0 && fraction_most < 1.0)
        return why_say(
            why, STATUS_REFUSED,
            "changes of %.6g only come ever nearer to their own water: choose a target short of %.6g, or "
            "stronger change water",
            fraction_most, cn);
    double n = 1.0;
    if (fraction_most < 1.0)
        n = ceil(log(rest) / log1p(-fraction_most) - EDGE);
    if (c0 == ct)
        n = 0.0;
    *count = fmax(n, 0.0);
    *fraction = n > 0.0 ? 1.0 - pow(rest, 1.0 / n) : 0.0;
    return STATUS_OK;
}

enum status mixing_stages(double c0, double ct, double step_most, double *count, struct why *why)
{
    if (!isfinite(c0) || !isfinite(ct))
        return why_say(why, STATUS_INVALID, "c0 and ct must be known");
    if (!(step_most > 0.0) || !isfinite(step_most))
        return why_say(why, STATUS_INVALID, "the largest step must be more than 0");
    *count = fmax(ceil(fabs(ct - c0) / step_most - EDGE), 0.0);
    return STATUS_OK;
}

static enum status check_topoff(double c0, double c_now, struct why *why)
{
    enum status st = check_conc(why, "c0", c0);
    if (st == STATUS_OK)
        st = check_conc(why, "c", c_now);
    if (st == STATUS_OK && c0 == 0.0)
        return why_say(why, STATUS_INVALID,
                       "c0 must be more than 0: pure water does not get stronger by evaporation");
    if (st == STATUS_OK && c_now < c0)
        return why_say(
            why, STATUS_REFUSED,
            "%.6g is below %.6g: nothing has evaporated that water could make good; nearest is 0 L", c_now,
            c0);
    return st;
}

enum status mixing_topoff_full(double c0, double c_now, double volume_full_l, double *litres, struct why *why)
{
    enum status st = check_topoff(c0, c_now, why);
    if (st == STATUS_OK)
        st = check_volume(why, "volume", volume_full_l);
    if (st == STATUS_OK)
        *litres = volume_full_l * (1.0 - c0 / c_now);
    return st;
}

enum status mixing_topoff_now(double c0, double c_now, double volume_now_l, double *litres, struct why *why)
{
    enum status st = check_topoff(c0, c_now, why);
    if (st == STATUS_OK)
        st = check_volume(why, "volume now", volume_now_l);
    if (st == STATUS_OK)
        *litres = volume_now_l * (c_now / c0 - 1.0);
    return st;
}

enum status mixing_blend(double ca, double cb, double ct, double volume_l, double *a_l, double *b_l,
                         struct why *why)
{
    enum status st = check_three(why, "ca", ca, "cb", cb, "ct", ct);
    if (st == STATUS_OK)
        st = check_volume(why, "volume", volume_l);
    if (st != STATUS_OK)
        return st;
    if (ca == cb)
        return why_say(why, STATUS_REFUSED, "both sources are the same: every blend gives %.6g", ca);
    double share = (ct - cb) / (ca - cb);
    if (share < -EDGE || share > 1.0 + EDGE)
        return why_say(why, STATUS_REFUSED,
                       "%.6g is outside %.6g to %.6g, all that these sources give; nearest is %.6g", ct,
                       fmin(ca, cb), fmax(ca, cb), share < 0.0 ? cb : ca);
    *a_l = volume_l * fmin(fmax(share, 0.0), 1.0);
    *b_l = volume_l - *a_l;
    return STATUS_OK;
}

/* A choice of at most two salts; with two equations the least-squares solution needs no more. */
struct choice {
    size_t i, j;
    double gi, gj; /* g/L */
    double misfit; /* dH */
};

static double misfit_of(const struct mixing_salt *a, double ga, const struct mixing_salt *b, double gb,
                        double gh, double kh)
{
    return hypot(ga * a->gh_dh + gb * b->gh_dh - gh, ga * a->kh_dh + gb * b->kh_dh - kh);
}

static double determinant(const struct mixing_salt *a, const struct mixing_salt *b)
{
    return a->gh_dh * b->kh_dh - a->kh_dh * b->gh_dh;
}

static double size_of(const struct mixing_salt *s)
{
    return hypot(s->gh_dh, s->kh_dh);
}

/* Salts whose GH and KH stand in the same ratio cannot set the two apart. */
static bool are_of_one_kind(const struct mixing_salt *a, const struct mixing_salt *b)
{
    return fabs(determinant(a, b)) <= 1e-9 * size_of(a) * size_of(b);
}

static void keep_better(struct choice *best, struct choice next)
{
    bool closer = next.misfit < best->misfit - EDGE;
    bool equal = fabs(next.misfit - best->misfit) <= EDGE;
    if (closer || (equal && next.gi + next.gj < best->gi + best->gj))
        *best = next;
}

static struct choice nearest_choice(const struct mixing_salt *salts, size_t count, double gh, double kh)
{
    struct choice best = { 0, 0, 0.0, 0.0, hypot(gh, kh) };
    for (size_t i = 0; i < count; i++) {
        const struct mixing_salt *a = &salts[i];
        double along = (a->gh_dh * gh + a->kh_dh * kh) / (size_of(a) * size_of(a));
        if (along > 0.0)
            keep_better(&best, (struct choice){ i, i, along, 0.0, misfit_of(a, along, a, 0.0, gh, kh) });
        for (size_t j = i + 1; j < count; j++) {
            const struct mixing_salt *b = &salts[j];
            if (are_of_one_kind(a, b))
                continue;
            double ga = (gh * b->kh_dh - kh * b->gh_dh) / determinant(a, b);
            double gb = (a->gh_dh * kh - a->kh_dh * gh) / determinant(a, b);
            if (ga >= 0.0 && gb >= 0.0)
                keep_better(&best, (struct choice){ i, j, ga, gb, misfit_of(a, ga, b, gb, gh, kh) });
        }
    }
    return best;
}

static enum status check_dose(const struct mixing_dose *d, const struct mixing_salt *salts, size_t count,
                              struct why *why)
{
    const double hardness_most = 1000.0;
    if (count < 1 || count > MIXING_SALTS_MAX)
        return why_say(why, STATUS_INVALID, "a dose takes 1 to %d salts, not %zu", MIXING_SALTS_MAX, count);
    const struct {
        const char *what;
        double v;
    } inputs[] = { { "gh0", d->gh0_dh }, { "kh0", d->kh0_dh }, { "gh", d->gh1_dh }, { "kh", d->kh1_dh } };
    enum status st = check_volume(why, "volume", d->volume_l);
    for (size_t i = 0; st == STATUS_OK && i < sizeof inputs / sizeof *inputs; i++)
        st = range_check(why, inputs[i].what, inputs[i].v, 0.0, hardness_most, "°dH");
    for (size_t i = 0; st == STATUS_OK && i < count; i++) {
        st = range_check(why, "a salt's GH per g/L", salts[i].gh_dh, 0.0, hardness_most, "°dH");
        if (st == STATUS_OK)
            st = range_check(why, "a salt's KH per g/L", salts[i].kh_dh, 0.0, hardness_most, "°dH");
        if (st == STATUS_OK && size_of(&salts[i]) == 0.0)
            return why_say(why, STATUS_INVALID, "salt %zu adds neither GH nor KH", i + 1);
    }
    return st;
}

static enum status refuse_dose(const struct mixing_dose *d, const struct mixing_salt *salts, size_t count,
                               struct choice best, struct why *why)
{
    double gh = d->gh0_dh + best.gi * salts[best.i].gh_dh + best.gj * salts[best.j].gh_dh;
    double kh = d->kh0_dh + best.gi * salts[best.i].kh_dh + best.gj * salts[best.j].kh_dh;
    const char *reason = "it would take a negative amount of a salt";
    if (d->gh1_dh < d->gh0_dh || d->kh1_dh < d->kh0_dh)
        reason = "salts only add, and the water is above the target already";
    else if (count == 2 && are_of_one_kind(&salts[0], &salts[1]))
        reason = "both salts add GH and KH in the same ratio, so they cannot set the two apart";
    char amounts[96] = "without any salt";
    double gi = best.gi * d->volume_l, gj = best.gj * d->volume_l;
    if (gi > 0.0 && gj > 0.0)
        snprintf(amounts, sizeof amounts, "with %.3f g of salt %zu and %.3f g of salt %zu", gi, best.i + 1,
                 gj, best.j + 1);
    else if (gi > 0.0)
        snprintf(amounts, sizeof amounts, "with %.3f g of salt %zu", gi, best.i + 1);
    return why_say(why, STATUS_REFUSED, "GH %.4g KH %.4g is beyond reach: %s; nearest is GH %.4g KH %.4g %s",
                   d->gh1_dh, d->kh1_dh, reason, gh, kh, amounts);
}

enum status mixing_grams(const struct mixing_dose *dose, const struct mixing_salt *salts, size_t count,
                         double *grams, struct why *why)
{
    enum status st = check_dose(dose, salts, count, why);
    if (st != STATUS_OK)
        return st;
    double gh = dose->gh1_dh - dose->gh0_dh, kh = dose->kh1_dh - dose->kh0_dh;
    struct choice best = nearest_choice(salts, count, gh, kh);
    bool one_kind = count == 2 && are_of_one_kind(&salts[0], &salts[1]) && (gh != 0.0 || kh != 0.0);
    if (best.misfit > 1e-7 || one_kind)
        return refuse_dose(dose, salts, count, best, why);
    for (size_t i = 0; i < count; i++)
        grams[i] = 0.0;
    grams[best.i] += best.gi * dose->volume_l;
    grams[best.j] += best.gj * dose->volume_l;
    return STATUS_OK;
}
