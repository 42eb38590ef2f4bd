/* Ion activity in fresh water.
 *
 * Davies: log g = -A z^2 (sqrt(I)/(1 + sqrt(I)) - 0.3 I), A = 1.82e6 (E T)^-1.5, dielectric constant of water
 * E = 60954/(T + 116) - 68.937. Source: Davies (1962), Ion Association; constants as in Truesdell & Jones
 * (1974). Holds to an ionic strength of about 0.5 mol/L, to some 3 % in fresh water. */
#ifndef LENTIC_WATER_ACTIVITY_H
#define LENTIC_WATER_ACTIVITY_H

#define KELVIN_OFFSET 273.15

/* Ionic strength, mol/L, from the conductivity at 25 degrees: 1.6e-5 * EC25 (uS/cm). Good to some 15 %. */
double activity_ionic_strength(double ec25_us_cm);

/* Activity coefficient of an ion of that charge, 0 < g <= 1. temp_c 0..50. */
double activity_coefficient(int charge, double ionic_strength_mol_l, double temp_c);

#endif
