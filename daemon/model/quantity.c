#include "model/quantity.h"

#include <math.h>
#include <string.h>

#define OFF NAN

/* Judgement limits that suit cheap probes: 0.0625 K steps, 1-2 % EC noise, 0.02 pH noise, a value every 5 to
 * 300 s. Spikes stand well above that noise; rates above what a water change does to a probe; a line is flat
 * when not even the last digit moves for hours. */
#define GATE(lo, hi, slo, shi, spike_s, spike_f, rate_s, rate_f, tol, flat_s, flat_f, twin_s, twin_f)        \
    {                                                                                                        \
        .gap_suspect_s = 900, .gap_fail_s = 3600, .fail_lo = lo, .fail_hi = hi, .suspect_lo = slo,           \
        .suspect_hi = shi, .spike_suspect = spike_s, .spike_fail = spike_f, .rate_suspect = rate_s,          \
        .rate_fail = rate_f, .flat_tol = tol, .flat_suspect_s = flat_s, .flat_fail_s = flat_f,               \
        .attenuated_window_s = OFF, .attenuated_min_obs = 12, .attenuated_suspect = OFF,                     \
        .attenuated_fail = OFF, .twin_suspect = twin_s, .twin_fail = twin_f, .pair_age_s = 600               \
    }

/* Hand tests and counters come one by one: only the range is judged. */
#define GATE_RANGE(lo, hi, slo, shi) GATE(lo, hi, slo, shi, OFF, OFF, OFF, OFF, OFF, OFF, OFF, OFF, OFF)

static const struct quantity_info table[Q_COUNT] = {
    [Q_TEMP] = { "temp", "temperature", "°C", UNIT_TEMP, -30, 60, 2, 0.03, 0.2,
                 GATE(-30, 60, 2, 45, 1.0, 2.0, 0.05, 0.25, 0.01, 4 * 3600, 8 * 3600, 0.6, 2.0) },
    [Q_EC] = { "ec", "conductivity at 25 °C", "µS/cm", UNIT_EC, 0, 20000, 0, 4, 8,
               GATE(0, 20000, 0, 5000, 60, 200, 5, 25, 0.01, 8 * 3600, 16 * 3600, 40, 150) },
    [Q_TDS] = { "tds", "dissolved solids", "mg/L", UNIT_MASS_CONC, 0, 15000, 0, 3, 6,
                GATE(0, 15000, 0, 3500, 40, 150, 4, 20, 0.01, 8 * 3600, 16 * 3600, 30, 120) },
    [Q_PH] = { "ph", "pH", "", UNIT_NONE, 0, 14, 2, 0.02, 0.1,
               GATE(0, 14, 3.5, 10, 0.4, 1.2, 0.02, 0.1, 0.001, 8 * 3600, 16 * 3600, 0.3, 0.8), 600 },
    [Q_GH] = { "gh", "general hardness", "°dH", UNIT_GH, 0, 60, 1, 0.5, 0.5, GATE_RANGE(0, 60, 0, 40) },
    [Q_KH] = { "kh", "carbonate hardness", "°dH", UNIT_KH, 0, 40, 1, 0.5, 0.5, GATE_RANGE(0, 40, 0, 30) },
    [Q_LEVEL] = { "level", "water level", "mm", UNIT_LENGTH, -2000, 5000, 1, 0.5, 3,
                  GATE(-2000, 5000, -500, 2000, 15, 60, 2, 20, 0.001, 24 * 3600, 72 * 3600, 10, 40) },
    [Q_DO] = { "do", "dissolved oxygen", "mg/L", UNIT_MASS_CONC, 0, 30, 1, 0.1, 0.3,
               GATE(0, 30, 0, 20, 1.5, 4, 0.1, 0.5, 0.001, 8 * 3600, 16 * 3600, 1, 3), 600 },
    [Q_ORP] = { "orp", "redox potential", "mV", UNIT_VOLTAGE, -2000, 2000, 0, 3, 15,
                GATE(-2000, 2000, -600, 900, 60, 200, 5, 30, 0.01, 8 * 3600, 16 * 3600, 60, 200), 600 },
    [Q_POWER] = { "power", "power", "W", UNIT_POWER, -50, 20000, 1, 0.5, 1,
                  GATE_RANGE(-50, 20000, -1, 5000) },
    [Q_FLOW] = { "flow", "flow", "L/min", UNIT_FLOW, -1, 1000, 1, 0.1, 0.2, GATE_RANGE(-1, 1000, 0, 500) },
    [Q_LEAK] = { "leak", "leak", "", UNIT_NONE, 0, 1, 0, 0, 0.5, GATE_RANGE(0, 1, 0, 1) },
    [Q_NO2] = { "no2", "nitrite", "mg/L", UNIT_MASS_CONC, 0, 100, 2, 0.05, 0.05, GATE_RANGE(0, 100, 0, 10) },
    [Q_NO3] = { "no3", "nitrate", "mg/L", UNIT_MASS_CONC, 0, 1000, 0, 5, 5, GATE_RANGE(0, 1000, 0, 250) },
    [Q_TAN] = { "tan", "total ammonia nitrogen", "mg/L", UNIT_MASS_CONC, 0, 100, 2, 0.1, 0.1,
                GATE_RANGE(0, 100, 0, 10) },
    [Q_PO4] = { "po4", "phosphate", "mg/L", UNIT_MASS_CONC, 0, 100, 2, 0.1, 0.1, GATE_RANGE(0, 100, 0, 10) },
    [Q_CA] = { "ca", "calcium", "mg/L", UNIT_MASS_CONC, 0, 1000, 0, 5, 5, GATE_RANGE(0, 1000, 0, 400) },
    [Q_MG] = { "mg", "magnesium", "mg/L", UNIT_MASS_CONC, 0, 1000, 0, 3, 3, GATE_RANGE(0, 1000, 0, 200) },
    [Q_CL2] = { "cl2", "chlorine", "mg/L", UNIT_MASS_CONC, 0, 50, 2, 0.05, 0.02, GATE_RANGE(0, 50, 0, 5) },
};

const struct quantity_info *quantity_info(enum quantity q)
{
    return &table[q];
}

enum quantity quantity_find(const char *name, size_t n)
{
    for (int q = 0; q < Q_COUNT; q++)
        if (strlen(table[q].name) == n && memcmp(table[q].name, name, n) == 0)
            return (enum quantity)q;
    return Q_COUNT;
}
