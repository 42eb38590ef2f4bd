/* Oxygen that water holds in balance with air.
 *
 * Source: Benson & Krause (1980, 1984), adopted by the US Geological Survey in 2011 (Office of Water Quality
 * Technical Memorandum 2011.03); station pressure by altitude from the standard atmosphere; salinity from
 * specific conductance S = 5.572e-4 SC + 2.02e-9 SC^2. Within 0.01 mg/L of the published tables.
 * Valid: temp_c 0..40, pressure 500..1100 hPa (station pressure, not reduced to sea level), altitude_m
 * -430..5500, ec25 0..70000 uS/cm. */
#ifndef LENTIC_WATER_OXYGEN_H
#define LENTIC_WATER_OXYGEN_H

#include "base/status.h"

#define OXYGEN_PRESSURE_HPA 1013.25

/* Station pressure in hPa at that altitude in a standard atmosphere; weather adds some +-3 %. */
enum status oxygen_pressure_at(double altitude_m, double *pressure_hpa, struct why *why) LENTIC_CHECKED;

/* mg/L at saturation. */
enum status oxygen_saturation(double temp_c, double pressure_hpa, double ec25_us_cm, double *saturation_mg_l,
                              struct why *why) LENTIC_CHECKED;

#endif
