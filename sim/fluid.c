#include "fluid.h"

#include <math.h>

double nrw_water_viscosity_Pa_s(double temperature_K)
{
    /* Huber et al. 2009, eq. for 0.1 MPa, in µPa·s with T/300 K. */
    static const double a[4] = {280.68, 511.45, 61.131, 0.45903};
    static const double b[4] = {-1.9, -7.7, -19.6, -40.0};
    double t = temperature_K / 300.0;
    double sum = 0;
    for (int i = 0; i < 4; i++)
        sum += a[i] * pow(t, b[i]);
    return 1e-6 * sum;
}

/* IAPWS R12-08, Table 2: coefficients H_ij of mu1; zero where none is given. */
static const double iapws_h[6][7] = {
    {5.20094e-1, 2.22531e-1, -2.81378e-1, 1.61913e-1, -3.25372e-2, 0, 0},
    {8.50895e-2, 9.99115e-1, -9.06851e-1, 2.57399e-1, 0, 0, 0},
    {-1.08374, 1.88797, -7.72479e-1, 0, 0, 0, 0},
    {-2.89555e-1, 1.26613, -4.89837e-1, 0, 6.98452e-2, 0, -4.35673e-3},
    {0, 0, -2.57040e-1, 0, 0, 8.72102e-3, 0},
    {0, 1.20573e-1, 0, 0, 0, 0, -5.93264e-4},
};

double nrw_water_viscosity_iapws_Pa_s(double temperature_K, double density_kg_m3)
{
    /* Table 1: H_i of mu0. */
    static const double h0[4] = {1.67752, 2.20462, 0.6366564, -0.241605};
    double t = temperature_K / 647.096, rho = density_kg_m3 / 322.0;
    double denominator = h0[0] + (h0[1] + (h0[2] + h0[3] / t) / t) / t;
    double mu0 = 100.0 * sqrt(t) / denominator;

    double exponent = 0, power_t = 1;
    for (int i = 0; i < 6; i++) {
        double inner = 0;
        for (int j = 6; j >= 0; j--)
            inner = inner * (rho - 1.0) + iapws_h[i][j];
        exponent += power_t * inner;
        power_t *= 1.0 / t - 1.0;
    }
    return 1e-6 * mu0 * exp(rho * exponent);
}

static double density_tanaka_kg_m3(double t)
{
    /* Tanaka et al. 2001, eq. 1. */
    double d = t - 3.983035;
    return 999.974950 * (1.0 - d * d * (t + 301.797) / (522528.9 * (t + 69.34881)));
}

static double density_kell_kg_m3(double t)
{
    /* Kell 1975, J. Chem. Eng. Data 20:97, eq. 16. */
    double p = -280.54253e-12;
    p = p * t + 105.56302e-9;
    p = p * t - 46.170461e-6;
    p = p * t - 7.9870401e-3;
    p = p * t + 16.945176;
    p = p * t + 999.83952;
    return p / (1.0 + 16.879850e-3 * t);
}

double nrw_water_density_kg_m3(double temperature_C)
{
    enum { JOIN_C = 40 };
    if (temperature_C <= JOIN_C)
        return density_tanaka_kg_m3(temperature_C);
    /* Scaled by about 5e-6 so that the two join without a step. */
    return density_kell_kg_m3(temperature_C) *
           (density_tanaka_kg_m3(JOIN_C) / density_kell_kg_m3(JOIN_C));
}

double nrw_water_permittivity(double temperature_C)
{
    /* Malmberg & Maryott 1956, J. Res. Natl. Bur. Stand. 56:1. */
    double t = temperature_C;
    return 87.740 + t * (-0.40008 + t * (9.398e-4 + t * -1.410e-6));
}
