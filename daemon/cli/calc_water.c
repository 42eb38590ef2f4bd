#include "cli/calc.h"
#include "water/ammonia.h"
#include "water/carbonate.h"
#include "water/conductivity.h"
#include "water/electrode.h"
#include "water/oxygen.h"
#include "water/salts.h"

#include <math.h>
#include <string.h>

static double number_or(const struct calc_args *args, const char *key, double otherwise)
{
    return calc_given(args, key) ? calc_number(args, key) : otherwise;
}

static enum status eval_ec25(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    const char *method = calc_given(args, "method") ? calc_word(args, "method", 0) : NULL;
    bool linear = method != NULL ? strcmp(method, "linear") == 0 : calc_given(args, "alpha");
    if (method != NULL && !linear && strcmp(method, "natural") != 0)
        return why_say(why, STATUS_INVALID, "method is natural or linear, not \"%.40s\"", method);
    if (!linear && calc_given(args, "alpha"))
        return why_say(why, STATUS_INVALID, "alpha belongs to method=linear");
    double alpha = linear ? number_or(args, "alpha", CONDUCTIVITY_ALPHA) : (double)NAN;
    double ec25, factor;
    enum status st =
        conductivity_at_25(calc_number(args, "ec"), calc_number(args, "temp"), alpha, &ec25, &factor, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "ec25", ec25, "µS/cm");
    calc_put(results, "factor", factor, "");
    return STATUS_OK;
}

static enum status eval_co2(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    struct carbonate c;
    enum status st = carbonate_solve(calc_number(args, "ph"), calc_number(args, "kh"),
                                     calc_number(args, "temp"), calc_number(args, "ec"), &c, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "co2", c.co2_mg_l, "mg/L");
    calc_put(results, "hco3", c.hco3_mg_l, "mg/L");
    return STATUS_OK;
}

static enum status eval_calcite(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double si;
    enum status st =
        carbonate_calcite_index(calc_number(args, "ph"), calc_number(args, "kh"), calc_number(args, "ca"),
                                calc_number(args, "temp"), calc_number(args, "ec"), &si, why);
    if (st == STATUS_OK)
        calc_put(results, "si", si, "");
    return st;
}

static enum status eval_ammonia(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double ph = calc_number(args, "ph"), temp_c = calc_number(args, "temp"),
           tan = number_or(args, "tan", 0.0);
    double fraction, pka, corrected = 0.0;
    enum status st = ammonia_fraction(ph, temp_c, &fraction, why);
    if (st == STATUS_OK)
        st = ammonia_pka(temp_c, &pka, why);
    if (st == STATUS_OK && calc_given(args, "ec"))
        st = ammonia_fraction_corrected(ph, temp_c, calc_number(args, "ec"), &corrected, why);
    if (st == STATUS_OK && tan < 0.0)
        st = why_say(why, STATUS_INVALID, "tan cannot be negative");
    if (st != STATUS_OK)
        return st;
    calc_put(results, "fraction", fraction, "");
    calc_put(results, "pka", pka, "");
    if (calc_given(args, "tan"))
        calc_put(results, "nh3", fraction * tan, "mg/L");
    if (calc_given(args, "ec"))
        calc_put(results, "fraction_corrected", corrected, "");
    return STATUS_OK;
}

static enum status eval_oxygen(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double pressure = number_or(args, "pressure", OXYGEN_PRESSURE_HPA), oxygen = number_or(args, "do", 0.0),
           saturation;
    enum status st = STATUS_OK;
    if (calc_given(args, "altitude") && calc_given(args, "pressure"))
        return why_say(why, STATUS_INVALID, "give pressure (at the station) or altitude, not both");
    if (calc_given(args, "altitude"))
        st = oxygen_pressure_at(calc_number(args, "altitude"), &pressure, why);
    if (st == STATUS_OK)
        st = oxygen_saturation(calc_number(args, "temp"), pressure, number_or(args, "ec", 0.0), &saturation,
                               why);
    if (st == STATUS_OK && (oxygen < 0.0 || oxygen > 100.0))
        st = why_say(why, STATUS_INVALID, "do %.6g mg/L is outside 0 to 100 mg/L", oxygen);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "saturation", saturation, "mg/L");
    calc_put(results, "pressure", pressure, "hPa");
    if (calc_given(args, "do"))
        calc_put(results, "percent", 100.0 * oxygen / saturation, "%");
    return STATUS_OK;
}

static enum status eval_slope(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double slope;
    enum status st = electrode_slope(calc_number(args, "temp"), &slope, why);
    if (st == STATUS_OK)
        calc_put(results, "mv_per_ph", slope, "mV");
    return st;
}

/* "177.5@4.01" or "0.1775V@4.01". */
static enum status parse_point(const char *text, struct electrode_point *point, struct why *why)
{
    const char *at = strchr(text, '@');
    if (at == NULL)
        return why_say(why, STATUS_INVALID, "cal \"%.40s\" is not of the form MV@PH, such as 177.5@4.01",
                       text);
    enum status st = calc_parse(text, (size_t)(at - text), UNIT_VOLTAGE, "mV", &point->mv, why);
    if (st == STATUS_OK)
        st = calc_parse(at + 1, strlen(at + 1), UNIT_NONE, "", &point->buffer_ph, why);
    return st;
}

static void note_health(struct calc_results *results, const struct electrode *e,
                        const struct electrode_quality *q)
{
    if (q->health == ELECTRODE_AGEING)
        calc_note(results, "slope %.1f %%: the electrode is ageing (95 to 102 %% is good)", q->slope_percent);
    if (q->health == ELECTRODE_REPLACE)
        calc_note(results, "slope %.1f %% is below 90 %%: replace the electrode", q->slope_percent);
    if (q->health == ELECTRODE_SUSPECT)
        calc_note(results, "slope %.1f %%, offset %.1f mV: suspect, check buffers and electrode",
                  q->slope_percent, e->offset_mv);
}

static enum status eval_ph(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    struct electrode_point points[CALC_REPEAT_MAX];
    struct electrode e;
    struct electrode_quality q;
    double ph;
    int count = (int)calc_count(args, "cal");
    enum status st = STATUS_OK;
    for (int i = 0; st == STATUS_OK && i < count; i++)
        st = parse_point(calc_word(args, "cal", (size_t)i), &points[i], why);
    if (st == STATUS_OK)
        st = electrode_fit(points, count, number_or(args, "cal_temp", 25.0), &e, &q, why);
    if (st == STATUS_OK)
        st = electrode_ph(&e, calc_number(args, "mv"), calc_number(args, "temp"), &ph, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "ph", ph, "");
    calc_put(results, "offset_mv", e.offset_mv, "mV");
    calc_put(results, "slope_percent", q.slope_percent, "%");
    if (count == ELECTRODE_POINTS_MAX)
        calc_put(results, "residual", q.residual_mv, "mV");
    note_health(results, &e, &q);
    return STATUS_OK;
}

static enum status eval_salt(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    const struct common_salt *salt = salts_find(calc_word(args, "name", 0), why);
    double dose = number_or(args, "g_per_l", 1.0), ec25;
    if (salt == NULL || dose < 0.0)
        return salt == NULL ? STATUS_INVALID : why_say(why, STATUS_INVALID, "g_per_l cannot be negative");
    if (dose > salt->most_g_l)
        return why_say(why, STATUS_REFUSED, "%.6g g/L of %s does not dissolve; the most is near %.3g g/L",
                       dose, salt->name, salt->most_g_l);
    struct ions ions = salts_ions(salt, dose);
    calc_put(results, "gh", ions_gh(&ions), "°dH");
    calc_put(results, "kh", ions_kh(&ions), "°dH");
    calc_put(results, "tds", ions_tds(&ions), "mg/L");
    if (ions_ec25(&ions, &ec25, NULL) == STATUS_OK)
        calc_put(results, "ec25", ec25, "µS/cm");
    return STATUS_OK;
}

static enum status eval_ions(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    struct ions ions;
    double ec25;
    for (int i = 0; i < ION_COUNT; i++)
        ions.mmol_l[i] = number_or(args, ion_name((enum ion)i), 0.0);
    enum status st = ions_ec25(&ions, &ec25, why);
    if (st != STATUS_OK)
        return st;
    calc_put(results, "ec25", ec25, "µS/cm");
    calc_put(results, "tds", ions_tds(&ions), "mg/L");
    calc_put(results, "gh", ions_gh(&ions), "°dH");
    calc_put(results, "kh", ions_kh(&ions), "°dH");
    double balance = ions_balance(&ions);
    if (fabs(balance) > 0.05)
        calc_note(
            results,
            "the charges do not balance (%+.0f %%): an ion is missing or wrong, and EC is off by as much",
            balance * 100.0);
    return STATUS_OK;
}

#define NUMBER(key, kind, unit, range)                                                                       \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, false, range                                                           \
    }
#define OPTIONAL(key, kind, unit, range)                                                                     \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, true, range                                                            \
    }

const struct calc_formula calc_water_formulas[] = {
    { "ec25",
      "conductivity at 25 °C from one measured at the water's temperature (not for a meter that compensates "
      "itself)",
      { NUMBER("ec", UNIT_EC, "uS/cm", "0 to 100000"),
        NUMBER("temp", UNIT_TEMP, "Cel", "0 to 36, linear 0 to 50"),
        { "method", CALC_WORD, UNIT_NONE, "", true,
          "natural (default; linear when alpha is given) or linear" },
        OPTIONAL("alpha", UNIT_RATIO, "1", "per °C, 0 to 0.039, default 0.0191") },
      "ec25 µS/cm, factor",
      "ISO 7888:1985 (natural waters within 0.2 %)",
      eval_ec25 },
    { "co2",
      "dissolved carbon dioxide and bicarbonate",
      { NUMBER("ph", UNIT_NONE, "", "4 to 11"), NUMBER("kh", UNIT_KH, "°dH", "0 to 60"),
        NUMBER("temp", UNIT_TEMP, "Cel", "0 to 50"), NUMBER("ec", UNIT_EC, "uS/cm", "at 25 °C, 0 to 20000") },
      "co2 mg/L, hco3 mg/L",
      "Plummer & Busenberg 1982, Davies activity; 3 % to pH 7.8, 5 % to 8.2, 10 % above",
      eval_co2 },
    { "calcite",
      "saturation index of calcite: below 0 dissolves, above 0 may lay down scale",
      { NUMBER("ph", UNIT_NONE, "", "4 to 11"), NUMBER("kh", UNIT_KH, "°dH", "0 to 60"),
        NUMBER("ca", UNIT_CALCIUM, "°dH", "calcium alone, above 0 to 100; mg/L_Ca or mg/L_CaCO3 say which"),
        NUMBER("temp", UNIT_TEMP, "Cel", "0 to 50"), NUMBER("ec", UNIT_EC, "uS/cm", "at 25 °C, 0 to 20000") },
      "si",
      "Plummer & Busenberg 1982, Davies activity; within 0.10",
      eval_calcite },
    { "ammonia",
      "un-ionised share of total ammonia",
      { NUMBER("ph", UNIT_NONE, "", "4 to 12"), NUMBER("temp", UNIT_TEMP, "Cel", "0 to 50"),
        OPTIONAL("tan", UNIT_MASS_CONC, "mg/L", "total ammonia nitrogen; nh3 is as nitrogen too"),
        OPTIONAL("ec", UNIT_EC, "uS/cm", "at 25 °C, 0 to 20000, for the activity-corrected share") },
      "fraction, pka, [nh3 mg/L], [fraction_corrected]",
      "Emerson et al. 1975; within 0.5 %",
      eval_ammonia },
    { "oxygen",
      "oxygen at saturation with air, and how saturated a measured value is",
      { NUMBER("temp", UNIT_TEMP, "Cel", "0 to 40"),
        OPTIONAL("pressure", UNIT_PRESSURE, "hPa", "at the station, 500 to 1100, default 1013.25"),
        OPTIONAL("altitude", UNIT_LENGTH, "m", "-430 to 5500, instead of pressure"),
        OPTIONAL("ec", UNIT_EC, "uS/cm", "at 25 °C, 0 to 70000, default 0"),
        OPTIONAL("do", UNIT_MASS_CONC, "mg/L", "0 to 100") },
      "saturation mg/L, pressure hPa, [percent %]",
      "Benson & Krause 1980/84 as adopted by the US Geological Survey 2011; within 0.01 mg/L",
      eval_oxygen },
    { "slope",
      "ideal slope of a pH electrode",
      { NUMBER("temp", UNIT_TEMP, "Cel", "0 to 60") },
      "mv_per_ph mV",
      "Nernst, CODATA 2018",
      eval_slope },
    { "ph",
      "pH from an electrode's voltage and one to three calibration points",
      { NUMBER("mv", UNIT_VOLTAGE, "mV", "-1000 to 1000"),
        NUMBER("temp", UNIT_TEMP, "Cel", "0 to 60"),
        { "cal", CALC_WORD, UNIT_NONE, "", false,
          "MV@PH, up to three times; the buffer's pH at its temperature" },
        OPTIONAL("cal_temp", UNIT_TEMP, "Cel", "of the buffers, 0 to 60, default 25") },
      "ph, offset_mv mV, slope_percent %, [residual mV]",
      "IUPAC 2002 (Buck et al.), isopotential pH 7; within 0.003 pH of the model",
      eval_ph },
    { "salt",
      "what a common salt adds to pure water",
      { { "name", CALC_WORD, UNIT_NONE, "", false, "formula or plain name: CaCl2.2H2O, gypsum, KHCO3 ..." },
        OPTIONAL("g_per_l", UNIT_DOSE, "g/L", "0 to what dissolves, default 1") },
      "gh °dH, kh °dH, tds mg/L, [ec25 µS/cm]",
      "formula weights (IUPAC 2021), 0.3 %; EC as for ions",
      eval_salt },
    { "ions",
      "conductivity, solids and hardness of an ionic recipe (ions left out count as 0)",
      { OPTIONAL("ca", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("mg", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("na", UNIT_AMOUNT, "mmol/L", "0 to 1000"), OPTIONAL("k", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("cl", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("so4", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("hco3", UNIT_AMOUNT, "mmol/L", "0 to 1000"),
        OPTIONAL("no3", UNIT_AMOUNT, "mmol/L", "0 to 1000; ionic strength to 0.5 mol/L") },
      "ec25 µS/cm, tds mg/L, gh °dH, kh °dH",
      "McCleskey et al. 2012 with CaSO4 and MgSO4 pairs; mixtures within 6 %",
      eval_ions },
    { .name = NULL },
};
