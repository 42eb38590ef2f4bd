#include "model/report.h"

static const char *const origin_names[] = {
    [ORIGIN_NONE] = "none",
    [ORIGIN_PROBE] = "probe",
    [ORIGIN_HAND] = "hand",
    [ORIGIN_DERIVED] = "derived",
};

static const struct {
    const char *name, *unit;
} derived[DERIVED_COUNT] = {
    [DERIVED_CO2] = { "co2", "mg/L" },
    [DERIVED_CO2_SWING] = { "co2_swing", "mg/L" },
    [DERIVED_OXYGEN_SAT] = { "oxygen_sat", "mg/L" },
    [DERIVED_NH3] = { "nh3", "mg/L" },
    [DERIVED_CALCITE_SI] = { "calcite_si", "" },
    [DERIVED_GH_EST] = { "gh_est", "°dH" },
    [DERIVED_KH_EST] = { "kh_est", "°dH" },
    [DERIVED_TDS] = { "tds", "mg/L" },
};

const char *value_origin_name(enum value_origin o)
{
    return origin_names[o];
}

const char *tds_factor_name(enum tds_factor f)
{
    static const char *const names[] = { "usual", "water", "recipe" };
    return names[f];
}

const char *derived_name(enum derived d)
{
    return derived[d].name;
}

const char *derived_unit(enum derived d)
{
    return derived[d].unit;
}
