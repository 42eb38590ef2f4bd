#include "water/activity.h"

#include <math.h>

double activity_ionic_strength(double ec25_us_cm)
{
    return 1.6e-5 * ec25_us_cm;
}

double activity_coefficient(int charge, double ionic_strength_mol_l, double temp_c)
{
    double t_k = temp_c + KELVIN_OFFSET;
    double dielectric = 60954.0 / (t_k + 116.0) - 68.937;
    double a = 1.82e6 * pow(dielectric * t_k, -1.5);
    double root = sqrt(ionic_strength_mol_l);
    return pow(10.0, -a * charge * charge * (root / (1.0 + root) - 0.3 * ionic_strength_mol_l));
}
