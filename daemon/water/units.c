#include "water/units.h"

#include <math.h>
#include <string.h>

#define SPELLING_MAX 24

#define MEQ_PER_DH          0.356652
#define MMOL_PER_DH         0.178326
#define CACO3_PER_DH        17.848
#define CALCIUM_MG_PER_MMOL 40.078

struct row {
    enum unit_kind kind;
    double gain, offset;
    const char *spelling; /* as normalise() leaves it; the stored unit first in each kind */
};

static const struct row rows[] = {
    { UNIT_NONE, 1, 0, "1" },
    { UNIT_NONE, 1, 0, "[pH]" },
    { UNIT_NONE, 1, 0, "pH" },
    { UNIT_NONE, 1, 0, "bool" },

    { UNIT_TEMP, 1, 0, "Cel" },
    { UNIT_TEMP, 1, 0, "degC" },
    { UNIT_TEMP, 1, 0, "°C" },
    { UNIT_TEMP, 1, 0, "C" },
    { UNIT_TEMP, 1, 0, "celsius" },
    { UNIT_TEMP, 1, 0, "Celsius" },
    { UNIT_TEMP, 1, 0, "\xE2\x84\x83" }, /* the one-character degree Celsius */
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "[degF]" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "degF" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "°F" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "F" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "fahrenheit" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "Fahrenheit" },
    { UNIT_TEMP, 5.0 / 9.0, -160.0 / 9.0, "\xE2\x84\x89" },
    { UNIT_TEMP, 1, -273.15, "K" },
    { UNIT_TEMP, 1, -273.15, "kelvin" },
    { UNIT_TEMP, 0.001, -273.15, "mK" },
    { UNIT_TEMP, 0.001, 0, "mCel" },

    { UNIT_EC, 1, 0, "uS/cm" },
    { UNIT_EC, 1, 0, "us/cm" },
    { UNIT_EC, 1, 0, "uS.cm-1" },
    { UNIT_EC, 1, 0, "uS" },
    { UNIT_EC, 1, 0, "umho/cm" },
    { UNIT_EC, 1000, 0, "mS/cm" },
    { UNIT_EC, 1000, 0, "ms/cm" },
    { UNIT_EC, 1000, 0, "mS.cm-1" },
    { UNIT_EC, 1000, 0, "mS" },
    { UNIT_EC, 1000, 0, "mmho/cm" },
    { UNIT_EC, 1000, 0, "dS/m" },
    { UNIT_EC, 10, 0, "mS/m" },
    { UNIT_EC, 0.01, 0, "uS/m" },
    { UNIT_EC, 1e6, 0, "S/cm" },
    { UNIT_EC, 1e4, 0, "S/m" },
    { UNIT_EC, 1e4, 0, "S.m-1" },

    { UNIT_MASS_CONC, 1, 0, "mg/L" },
    { UNIT_MASS_CONC, 1, 0, "mg.L-1" },
    { UNIT_MASS_CONC, 1, 0, "g/m3" },
    { UNIT_MASS_CONC, 1, 0, "ppm" },
    { UNIT_MASS_CONC, 1, 0, "[ppm]" },
    { UNIT_MASS_CONC, 1, 0, "ug/mL" },
    { UNIT_MASS_CONC, 1000, 0, "g/L" },
    { UNIT_MASS_CONC, 1000, 0, "kg/m3" },
    { UNIT_MASS_CONC, 1000, 0, "ppt" },
    { UNIT_MASS_CONC, 0.001, 0, "ug/L" },
    { UNIT_MASS_CONC, 0.001, 0, "ppb" },
    { UNIT_MASS_CONC, 0.001, 0, "[ppb]" },

    { UNIT_GH, 1, 0, "°dH" },
    { UNIT_GH, 1, 0, "dH" },
    { UNIT_GH, 1, 0, "dGH" },
    { UNIT_GH, 1, 0, "°dGH" },
    { UNIT_GH, 1, 0, "°GH" },
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "mg/L" },
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "ppm" },
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "[ppm]" },
    { UNIT_GH, 1 / MEQ_PER_DH, 0, "meq/L" },
    { UNIT_GH, 1 / MEQ_PER_DH, 0, "mval/L" },
    { UNIT_GH, 1 / MMOL_PER_DH, 0, "mmol/L" },
    { UNIT_GH, 1 / MMOL_PER_DH, 0, "mM" },

    { UNIT_KH, 1, 0, "°dH" },
    { UNIT_KH, 1, 0, "dH" },
    { UNIT_KH, 1, 0, "dKH" },
    { UNIT_KH, 1, 0, "°dKH" },
    { UNIT_KH, 1, 0, "°KH" },
    { UNIT_KH, 1 / CACO3_PER_DH, 0, "mg/L" },
    { UNIT_KH, 1 / CACO3_PER_DH, 0, "ppm" },
    { UNIT_KH, 1 / CACO3_PER_DH, 0, "[ppm]" },
    { UNIT_KH, 1 / MEQ_PER_DH, 0, "meq/L" },
    { UNIT_KH, 1 / MEQ_PER_DH, 0, "mval/L" },
    { UNIT_KH, 1 / MEQ_PER_DH, 0, "mmol/L" },
    { UNIT_KH, 1 / MEQ_PER_DH, 0, "mM" },

    { UNIT_CALCIUM, 1, 0, "°dH" },
    { UNIT_CALCIUM, 1, 0, "dH" },
    { UNIT_CALCIUM, 1 / (MMOL_PER_DH * CALCIUM_MG_PER_MMOL), 0, "mg/LCa" },
    { UNIT_CALCIUM, 1 / (MMOL_PER_DH * CALCIUM_MG_PER_MMOL), 0, "mgCa/L" },
    { UNIT_CALCIUM, 1 / (MMOL_PER_DH * CALCIUM_MG_PER_MMOL), 0, "mg{Ca}/L" },
    { UNIT_CALCIUM, 1 / MEQ_PER_DH, 0, "meq/L" },
    { UNIT_CALCIUM, 1 / MMOL_PER_DH, 0, "mmol/L" },
    { UNIT_CALCIUM, 1 / MMOL_PER_DH, 0, "mM" },

    { UNIT_AMOUNT, 1, 0, "mmol/L" },
    { UNIT_AMOUNT, 1, 0, "mM" },
    { UNIT_AMOUNT, 1, 0, "mol/m3" },
    { UNIT_AMOUNT, 0.001, 0, "umol/L" },
    { UNIT_AMOUNT, 0.001, 0, "uM" },
    { UNIT_AMOUNT, 1000, 0, "mol/L" },

    { UNIT_DOSE, 1, 0, "g/L" },
    { UNIT_DOSE, 1, 0, "kg/m3" },
    { UNIT_DOSE, 0.001, 0, "mg/L" },
    { UNIT_DOSE, 0.001, 0, "ppm" },

    { UNIT_VOLUME, 1, 0, "L" },
    { UNIT_VOLUME, 1, 0, "l" },
    { UNIT_VOLUME, 1, 0, "litre" },
    { UNIT_VOLUME, 1, 0, "litres" },
    { UNIT_VOLUME, 1, 0, "liter" },
    { UNIT_VOLUME, 1, 0, "liters" },
    { UNIT_VOLUME, 1, 0, "dm3" },
    { UNIT_VOLUME, 0.001, 0, "mL" },
    { UNIT_VOLUME, 0.001, 0, "ml" },
    { UNIT_VOLUME, 0.001, 0, "cm3" },
    { UNIT_VOLUME, 1000, 0, "m3" },
    { UNIT_VOLUME, 3.785411784, 0, "[gal_us]" },
    { UNIT_VOLUME, 3.785411784, 0, "galUS" },
    { UNIT_VOLUME, 3.785411784, 0, "USgal" },
    { UNIT_VOLUME, 3.785411784, 0, "gal" },
    { UNIT_VOLUME, 3.785411784, 0, "gallon" },
    { UNIT_VOLUME, 3.785411784, 0, "gallons" },
    { UNIT_VOLUME, 4.54609, 0, "[gal_br]" },
    { UNIT_VOLUME, 4.54609, 0, "galbr" },
    { UNIT_VOLUME, 4.54609, 0, "impgal" },
    { UNIT_VOLUME, 4.54609, 0, "galimp" },
    { UNIT_VOLUME, 4.54609, 0, "UKgal" },

    { UNIT_MASS, 1, 0, "g" },
    { UNIT_MASS, 0.001, 0, "mg" },
    { UNIT_MASS, 1000, 0, "kg" },
    { UNIT_MASS, 28.349523125, 0, "[oz_av]" },
    { UNIT_MASS, 28.349523125, 0, "oz" },

    { UNIT_LENGTH, 1, 0, "mm" },
    { UNIT_LENGTH, 10, 0, "cm" },
    { UNIT_LENGTH, 1000, 0, "m" },
    { UNIT_LENGTH, 1e6, 0, "km" },
    { UNIT_LENGTH, 25.4, 0, "[in_i]" },
    { UNIT_LENGTH, 25.4, 0, "in" },
    { UNIT_LENGTH, 25.4, 0, "inch" },
    { UNIT_LENGTH, 304.8, 0, "[ft_i]" },
    { UNIT_LENGTH, 304.8, 0, "ft" },

    { UNIT_VOLTAGE, 1, 0, "mV" },
    { UNIT_VOLTAGE, 1000, 0, "V" },
    { UNIT_VOLTAGE, 0.001, 0, "uV" },

    { UNIT_POWER, 1, 0, "W" },
    { UNIT_POWER, 0.001, 0, "mW" },
    { UNIT_POWER, 1000, 0, "kW" },

    { UNIT_FLOW, 1, 0, "L/min" },
    { UNIT_FLOW, 1, 0, "lpm" },
    { UNIT_FLOW, 1, 0, "LPM" },
    { UNIT_FLOW, 1.0 / 60.0, 0, "L/h" },
    { UNIT_FLOW, 60, 0, "L/s" },
    { UNIT_FLOW, 0.001, 0, "mL/min" },
    { UNIT_FLOW, 1000.0 / 60.0, 0, "m3/h" },
    { UNIT_FLOW, 3.785411784, 0, "[gal_us]/min" },
    { UNIT_FLOW, 3.785411784, 0, "gpm" },
    { UNIT_FLOW, 3.785411784 / 60.0, 0, "[gal_us]/h" },
    { UNIT_FLOW, 3.785411784 / 60.0, 0, "gph" },

    { UNIT_PRESSURE, 1, 0, "hPa" },
    { UNIT_PRESSURE, 1, 0, "mbar" },
    { UNIT_PRESSURE, 0.01, 0, "Pa" },
    { UNIT_PRESSURE, 10, 0, "kPa" },
    { UNIT_PRESSURE, 1000, 0, "bar" },
    { UNIT_PRESSURE, 1013.25, 0, "atm" },
    { UNIT_PRESSURE, 33.86388640341, 0, "[in_i'Hg]" },
    { UNIT_PRESSURE, 33.86388640341, 0, "inHg" },
    { UNIT_PRESSURE, 1.33322387415, 0, "mm[Hg]" },
    { UNIT_PRESSURE, 1.33322387415, 0, "mmHg" },
    { UNIT_PRESSURE, 1013.25 / 760.0, 0, "torr" },

    { UNIT_TIME, 1, 0, "ms" },
    { UNIT_TIME, 1e3, 0, "s" },
    { UNIT_TIME, 1e3, 0, "sec" },
    { UNIT_TIME, 60e3, 0, "min" },
    { UNIT_TIME, 3600e3, 0, "h" },
    { UNIT_TIME, 3600e3, 0, "hour" },
    { UNIT_TIME, 3600e3, 0, "hours" },
    { UNIT_TIME, 86400e3, 0, "d" },
    { UNIT_TIME, 86400e3, 0, "day" },
    { UNIT_TIME, 86400e3, 0, "days" },
    { UNIT_TIME, 604800e3, 0, "wk" },

    { UNIT_RATIO, 1, 0, "1" },
    { UNIT_RATIO, 0.01, 0, "%" },
    { UNIT_RATIO, 0.01, 0, "percent" },
    { UNIT_RATIO, 0.001, 0, "[ppth]" },
};
#define ROW_COUNT (sizeof rows / sizeof *rows)

/* Spellings that all hardnesses share. */
static const struct row hardness[] = {
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "mg/LCaCO3" },   { UNIT_GH, 1 / CACO3_PER_DH, 0, "mgCaCO3/L" },
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "mg{CaCO3}/L" }, { UNIT_GH, 1 / CACO3_PER_DH, 0, "mg/LasCaCO3" },
    { UNIT_GH, 1 / CACO3_PER_DH, 0, "ppmCaCO3" },    { UNIT_GH, 10 / CACO3_PER_DH, 0, "°fH" },
    { UNIT_GH, 10 / CACO3_PER_DH, 0, "fH" },         { UNIT_GH, 10 / CACO3_PER_DH, 0, "°f" },
    { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "°e" },     { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "°eH" },
    { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "eH" },     { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "°Clark" },
    { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "Clark" },  { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "°clark" },
    { UNIT_GH, 14.254 / CACO3_PER_DH, 0, "clark" },  { UNIT_GH, 17.118 / CACO3_PER_DH, 0, "gpg" },
};
#define HARDNESS_COUNT (sizeof hardness / sizeof *hardness)

static const struct {
    const char *name;
    const char *title;
} kinds[UNIT_KIND_COUNT] = {
    [UNIT_NONE] = { "", "a bare number" },
    [UNIT_TEMP] = { "°C", "a temperature" },
    [UNIT_EC] = { "µS/cm", "a conductivity" },
    [UNIT_MASS_CONC] = { "mg/L", "a concentration by mass" },
    [UNIT_GH] = { "°dH", "a general hardness" },
    [UNIT_KH] = { "°dH", "a carbonate hardness" },
    [UNIT_CALCIUM] = { "°dH", "a calcium content" },
    [UNIT_AMOUNT] = { "mmol/L", "an amount in solution" },
    [UNIT_DOSE] = { "g/L", "a dose of salt" },
    [UNIT_VOLUME] = { "L", "a volume" },
    [UNIT_MASS] = { "g", "a mass" },
    [UNIT_LENGTH] = { "mm", "a length" },
    [UNIT_VOLTAGE] = { "mV", "a voltage" },
    [UNIT_POWER] = { "W", "a power" },
    [UNIT_FLOW] = { "L/min", "a flow" },
    [UNIT_PRESSURE] = { "hPa", "a pressure" },
    [UNIT_TIME] = { "ms", "a time" },
    [UNIT_RATIO] = { "1", "a ratio" },
};

/* Characters that are written in more than one way. The longest match need not win: none is another's start.
 */
static const struct {
    const char *from, *to;
} alike[] = {
    { " ", "" },         { "_", "" },         { "\xC2\xA0", "" },
    { "\xC2\xB5", "u" }, { "\xCE\xBC", "u" }, { "\xC2\xBA", "°" },
    { "\xCB\x9A", "°" }, { "/l", "/L" },      { "L\xE2\x81\xBB\xC2\xB9", "L-1" },
};

/* Underscore is part of a few UCUM names, which are listed here without it. */
static bool normalise(const char *s, size_t n, char out[SPELLING_MAX])
{
    size_t at = 0;
    for (size_t i = 0; i < n;) {
        const char *from = s + i;
        size_t from_n = 1, to_n = 1;
        const char *to = from;
        for (size_t k = 0; k < sizeof alike / sizeof *alike; k++) {
            size_t len = strlen(alike[k].from);
            if (len <= n - i && memcmp(s + i, alike[k].from, len) == 0) {
                from_n = len;
                to = alike[k].to;
                to_n = strlen(to);
                break;
            }
        }
        if (at + to_n >= SPELLING_MAX)
            return false;
        memcpy(out + at, to, to_n);
        at += to_n;
        i += from_n;
    }
    out[at] = '\0';
    return true;
}

/* The table spells UCUM names with their underscore, as people read them. */
static bool spells(const struct row *row, const char *wanted)
{
    char own[SPELLING_MAX];
    return normalise(row->spelling, strlen(row->spelling), own) && strcmp(own, wanted) == 0;
}

static bool is_hardness(enum unit_kind kind)
{
    return kind == UNIT_GH || kind == UNIT_KH || kind == UNIT_CALCIUM;
}

static const struct row *find_row(const char *wanted, enum unit_kind kind)
{
    for (size_t i = 0; i < ROW_COUNT; i++)
        if (rows[i].kind == kind && spells(&rows[i], wanted))
            return &rows[i];
    for (size_t i = 0; is_hardness(kind) && i < HARDNESS_COUNT; i++)
        if (spells(&hardness[i], wanted))
            return &hardness[i];
    return NULL;
}

struct unit unit_stored(enum unit_kind kind)
{
    return (struct unit){ 1.0, 0.0, kind };
}

const char *unit_stored_name(enum unit_kind kind)
{
    return kinds[kind].name;
}

const char *unit_spelling(enum unit_kind kind, size_t index)
{
    for (size_t i = 0; i < ROW_COUNT; i++)
        if (rows[i].kind == kind && index-- == 0)
            return rows[i].spelling;
    return is_hardness(kind) && index < HARDNESS_COUNT ? hardness[index].spelling : NULL;
}

static enum status say_unknown(struct why *why, const char *name, size_t n, enum unit_kind kind)
{
    int shown = n > 40 ? 40 : (int)n;
    char wanted[SPELLING_MAX];
    if (kind == UNIT_CALCIUM && normalise(name, n, wanted) &&
        (strcmp(wanted, "mg/L") == 0 || strcmp(wanted, "ppm") == 0))
        return why_say(why, STATUS_NONE,
                       "\"%.*s\" of what? Write mg/L_Ca for calcium itself or mg/L_CaCO3 for its carbonate",
                       shown, name);
    for (int k = 0; k < UNIT_KIND_COUNT; k++)
        if (normalise(name, n, wanted) && find_row(wanted, (enum unit_kind)k) != NULL)
            return why_say(why, STATUS_NONE, "\"%.*s\" is the unit of %s, not of %s (such as %s)", shown,
                           name, kinds[k].title, kinds[kind].title, unit_spelling(kind, 0));
    return why_say(why, STATUS_NONE, "unknown unit \"%.*s\" for %s; write it as %s", shown, name,
                   kinds[kind].title, unit_spelling(kind, 0));
}

enum status unit_find_n(const char *name, size_t n, enum unit_kind kind_wanted, struct unit *out,
                        struct why *why)
{
    char wanted[SPELLING_MAX];
    bool short_enough = normalise(name, n, wanted);
    if (short_enough && wanted[0] == '\0') {
        *out = unit_stored(kind_wanted);
        return STATUS_OK;
    }
    const struct row *row = short_enough ? find_row(wanted, kind_wanted) : NULL;
    if (row == NULL)
        return say_unknown(why, name, n, kind_wanted);
    *out = (struct unit){ row->gain, row->offset, kind_wanted };
    return STATUS_OK;
}

enum status unit_find(const char *name, enum unit_kind kind_wanted, struct unit *out)
{
    const char *given = name == NULL ? "" : name;
    return unit_find_n(given, strlen(given), kind_wanted, out, NULL);
}

double unit_to_stored(struct unit u, double x)
{
    return u.gain * x + u.offset;
}

double unit_from_stored(struct unit u, double stored)
{
    return (stored - u.offset) / u.gain;
}

static bool is_near(double a, double b)
{
    return fabs(a - b) <= 1e-12 * fmax(fabs(a), fabs(b));
}

bool unit_same(struct unit a, struct unit b)
{
    return a.kind == b.kind && is_near(a.gain, b.gain) && is_near(a.offset, b.offset);
}
