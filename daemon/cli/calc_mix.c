#include "cli/calc.h"
#include "water/mixing.h"
#include "water/salts.h"

#include <string.h>

/* "30/15": GH and KH that 1 g/L adds; or the name of a common salt. */
static enum status parse_salt(const char *text, struct mixing_salt *salt, struct why *why)
{
    const char *slash = strchr(text, '/');
    if (slash != NULL) {
        enum status st = calc_parse(text, (size_t)(slash - text), UNIT_GH, "°dH", &salt->gh_dh, why);
        if (st == STATUS_OK)
            st = calc_parse(slash + 1, strlen(slash + 1), UNIT_KH, "°dH", &salt->kh_dh, why);
        return st;
    }
    const struct common_salt *common = salts_find(text, NULL);
    if (common == NULL)
        return why_say(why, STATUS_INVALID,
                       "\"%.40s\" is neither GH/KH per g/L (such as 30/15) nor a common salt", text);
    struct salt_power power = salts_power(common);
    *salt = (struct mixing_salt){ power.gh_dh, power.kh_dh };
    return STATUS_OK;
}

static enum status eval_dose(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    static const char *const keys[] = { "a", "b", "c", "d" };
    static const char *const names[] = { "grams_a", "grams_b", "grams_c", "grams_d" };
    struct mixing_salt salts[4];
    double grams[4];
    const char *used[4];
    size_t count = 0;
    for (size_t i = 0; i < 4; i++) {
        if (!calc_given(args, keys[i]))
            continue;
        enum status st = parse_salt(calc_word(args, keys[i], 0), &salts[count], why);
        if (st != STATUS_OK)
            return st;
        used[count++] = names[i];
    }
    struct mixing_dose dose = { calc_number(args, "volume"), calc_number(args, "gh0"),
                                calc_number(args, "kh0"), calc_number(args, "gh"), calc_number(args, "kh") };
    enum status st = mixing_grams(&dose, salts, count, grams, why);
    for (size_t i = 0; st == STATUS_OK && i < count; i++)
        calc_put(results, used[i], grams[i], "g");
    return st;
}

static enum status eval_fraction(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double fraction;
    enum status st = mixing_fraction(calc_number(args, "c0"), calc_number(args, "ct"),
                                     calc_number(args, "cn"), &fraction, why);
    if (st == STATUS_OK)
        calc_put(results, "fraction", fraction, "");
    return st;
}

static enum status eval_repeat(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double c;
    enum status st = mixing_repeat(calc_number(args, "c0"), calc_number(args, "cn"), calc_number(args, "f"),
                                   calc_number(args, "n"), &c, why);
    if (st == STATUS_OK)
        calc_put(results, "c", c, calc_concentration_unit(args));
    return st;
}

static enum status eval_changes(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double count, fraction;
    enum status st = mixing_changes(calc_number(args, "c0"), calc_number(args, "ct"), calc_number(args, "cn"),
                                    calc_number(args, "fmax"), &count, &fraction, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "count", count, "");
    calc_put(results, "fraction", fraction, "");
    return STATUS_OK;
}

static enum status eval_stages(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double count;
    enum status st = mixing_stages(calc_number(args, "c0"), calc_number(args, "ct"),
                                   calc_number(args, "dmax"), &count, why);
    if (st == STATUS_OK)
        calc_put(results, "count", count, "");
    return st;
}

static enum status eval_topoff(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double litres, c0 = calc_number(args, "c0"), c = calc_number(args, "c");
    if (calc_given(args, "volume") == calc_given(args, "now"))
        return why_say(why, STATUS_INVALID,
                       "give either volume (litres when full) or now (litres at present)");
    enum status st = calc_given(args, "volume")
                         ? mixing_topoff_full(c0, c, calc_number(args, "volume"), &litres, why)
                         : mixing_topoff_now(c0, c, calc_number(args, "now"), &litres, why);
    if (st == STATUS_OK)
        calc_put(results, "litres", litres, "L");
    return st;
}

static enum status eval_blend(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double a, b;
    enum status st = mixing_blend(calc_number(args, "ca"), calc_number(args, "cb"), calc_number(args, "ct"),
                                  calc_number(args, "volume"), &a, &b, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "a", a, "L");
    calc_put(results, "b", b, "L");
    return STATUS_OK;
}

#define CONC(key, range)                                                                                     \
    {                                                                                                        \
        key, CALC_CONCENTRATION, UNIT_NONE, "", false, range                                                 \
    }
#define NUMBER(key, kind, unit, range)                                                                       \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, false, range                                                           \
    }
#define OPTIONAL(key, kind, unit, range)                                                                     \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, true, range                                                            \
    }
#define WORD(key, optional, range)                                                                           \
    {                                                                                                        \
        key, CALC_WORD, UNIT_NONE, "", optional, range                                                       \
    }

static const char balance[] = "mass balance, exact; EC mixes within some 2 %, pH does not mix this way";

const struct calc_formula calc_mix_formulas[] = {
    { "dose",
      "grams of salts that lift water from one GH and KH to another",
      { NUMBER("volume", UNIT_VOLUME, "L", "above 0"), NUMBER("gh0", UNIT_GH, "°dH", "as it is, 0 to 1000"),
        NUMBER("kh0", UNIT_KH, "°dH", "as it is, 0 to 1000"),
        NUMBER("gh", UNIT_GH, "°dH", "wanted, 0 to 1000"), NUMBER("kh", UNIT_KH, "°dH", "wanted, 0 to 1000"),
        WORD("a", false, "GH/KH in °dH that 1 g/L adds, such as 30/15, or a common salt such as KHCO3"),
        WORD("b", false, "the same"), WORD("c", true, "the same"), WORD("d", true, "the same") },
      "grams_a g, grams_b g, [grams_c g], [grams_d g]",
      "two salts exact, more by non-negative least squares; to 0.001 g",
      eval_dose },
    { "fraction",
      "share of the water to change, once, for a target",
      { CONC("c0", "in the tank"), CONC("ct", "target"), CONC("cn", "change water") },
      "fraction",
      balance,
      eval_fraction },
    { "repeat",
      "what n equal changes lead to",
      { CONC("c0", "in the tank"), CONC("cn", "change water"),
        NUMBER("f", UNIT_RATIO, "1", "share of each change, 0 to 1"),
        NUMBER("n", UNIT_NONE, "", "changes, 0, 1, 2 ...") },
      "c",
      balance,
      eval_repeat },
    { "changes",
      "fewest equal changes to a target, none larger than fmax",
      { CONC("c0", "in the tank"), CONC("ct", "target"), CONC("cn", "change water"),
        NUMBER("fmax", UNIT_RATIO, "1", "largest share of one change, above 0 to 1") },
      "count, fraction",
      balance,
      eval_changes },
    { "stages",
      "fewest equal steps to a target, none larger than dmax",
      { CONC("c0", "in the tank"), CONC("ct", "target"), CONC("dmax", "largest step, above 0") },
      "count",
      balance,
      eval_stages },
    { "topoff",
      "pure water that makes good what evaporated",
      { CONC("c0", "when full"), CONC("c", "at present, not below c0"),
        OPTIONAL("volume", UNIT_VOLUME, "L", "when full"),
        OPTIONAL("now", UNIT_VOLUME, "L", "at present, instead") },
      "litres L",
      balance,
      eval_topoff },
    { "blend",
      "litres of two sources for a target",
      { CONC("ca", "of source a"), CONC("cb", "of source b"), CONC("ct", "target, between the two"),
        NUMBER("volume", UNIT_VOLUME, "L", "wanted, above 0") },
      "a L, b L",
      balance,
      eval_blend },
    { .name = NULL },
};
