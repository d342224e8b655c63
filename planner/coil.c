#include "coil.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include <gsl/gsl_sf_ellint.h>

#include "units.h"

#define PRECISION GSL_PREC_DOUBLE
/* Carlson's integrals in GSL refuse arguments near 0; nearer to a wire than
 * this share of the coil nothing has a value anyway. */
#define NEAREST_SQUARED 1e-24

static bool arguments_are_sound(double radius_mm, double rho_mm, double z_mm)
{
    return isfinite(radius_mm) && radius_mm > 0.0 && isfinite(rho_mm) && rho_mm >= 0.0 &&
           isfinite(z_mm);
}

void nrw_coil_loop_mT(double radius_mm, double current_A, double rho_mm, double z_mm,
                      double *rho_mT, double *z_mT)
{
    *rho_mT = *z_mT = NAN;
    if (!arguments_are_sound(radius_mm, rho_mm, z_mm))
        return;
    const double near2 = (radius_mm - rho_mm) * (radius_mm - rho_mm) + z_mm * z_mm;
    const double far2 = (radius_mm + rho_mm) * (radius_mm + rho_mm) + z_mm * z_mm;
    if (near2 < NEAREST_SQUARED * far2)
        return;
    /* m = k² = 1 − near²/far²; K = R_F(0, 1−m, 1), K − E = (m/3) R_D(0, 1−m, 1)
     * (Carlson 1979). */
    const double m = 4.0 * radius_mm * rho_mm / far2, rest = near2 / far2;
    const double k = gsl_sf_ellint_RF(0.0, rest, 1.0, PRECISION);
    const double k_minus_e = m / 3.0 * gsl_sf_ellint_RD(0.0, rest, 1.0, PRECISION);
    const double e = k - k_minus_e;
    const double scale = NRW_MU0_MT_MM_A * current_A / (2.0 * NRW_PI * sqrt(far2));
    *z_mT = scale * (k + (radius_mm * radius_mm - rho_mm * rho_mm - z_mm * z_mm) / near2 * e);
    /* −K + (R²+ρ²+z²)/near² E = m E/(2(1−m)) − (K − E) */
    *rho_mT = rho_mm == 0.0 ? 0.0 : scale * z_mm / rho_mm * (m * e / (2.0 * rest) - k_minus_e);
}

/* Bulirsch's cel(kc, p, c, s) by Carlson: c R_F + (s − p c)/3 R_J. */
static double cel(double kc_squared, double p, double c, double s)
{
    const double first = c * gsl_sf_ellint_RF(0.0, kc_squared, 1.0, PRECISION);
    return first + (s - p * c) / 3.0 * gsl_sf_ellint_RJ(0.0, kc_squared, 1.0, p, PRECISION);
}

void nrw_coil_solenoid_mT(double radius_mm, double length_mm, double turns, double current_A,
                          double rho_mm, double z_mm, double *rho_mT, double *z_mT)
{
    *rho_mT = *z_mT = NAN;
    if (!arguments_are_sound(radius_mm, rho_mm, z_mm) || !(length_mm > 0.0))
        return;
    const double scale = NRW_MU0_MT_MM_A * turns / length_mm * current_A / NRW_PI;
    const double gamma = (radius_mm - rho_mm) / (radius_mm + rho_mm);
    if (gamma * gamma < NEAREST_SQUARED)
        return;
    double radial = 0.0, axial = 0.0;
    for (int end = -1; end <= 1; end += 2) {
        const double z = z_mm + end * 0.5 * length_mm;
        const double far2 = z * z + (rho_mm + radius_mm) * (rho_mm + radius_mm);
        const double near2 = z * z + (rho_mm - radius_mm) * (rho_mm - radius_mm);
        const double far = sqrt(far2), kc2 = near2 / far2;
        radial += end * radius_mm / far * cel(kc2, 1.0, 1.0, -1.0);
        axial += end * z / far * cel(kc2, gamma * gamma, 1.0, gamma);
    }
    *rho_mT = rho_mm == 0.0 ? 0.0 : scale * radial;
    *z_mT = scale * radius_mm / (radius_mm + rho_mm) * axial;
}

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

void nrw_coil_field_mT(const nrw_coil *coil, double current_A, const double at_mm[3],
                       double field_mT[3])
{
    const double length = sqrt(dot(coil->axis, coil->axis));
    double axis[3], away[3], radial[3];
    for (int i = 0; i < 3; i++) {
        axis[i] = coil->axis[i] / length;
        away[i] = at_mm[i] - coil->centre_mm[i];
    }
    const double z = dot(away, axis);
    for (int i = 0; i < 3; i++)
        radial[i] = away[i] - z * axis[i];
    const double rho = sqrt(dot(radial, radial));
    double along_rho, along_z;
    if (coil->length_mm > 0.0)
        nrw_coil_solenoid_mT(coil->radius_mm, coil->length_mm, coil->turns, current_A, rho, z,
                             &along_rho, &along_z);
    else
        nrw_coil_loop_mT(coil->radius_mm, coil->turns * current_A, rho, z, &along_rho, &along_z);
    for (int i = 0; i < 3; i++)
        field_mT[i] = along_z * axis[i] + (rho > 0.0 ? along_rho * radial[i] / rho : 0.0);
}

void nrw_coil_pair(double radius_mm, double spacing_mm, double turns, const double centre_mm[3],
                   const double axis[3], nrw_coil pair[2])
{
    const double length = sqrt(dot(axis, axis));
    for (int side = 0; side < 2; side++) {
        memset(&pair[side], 0, sizeof pair[side]);
        pair[side].radius_mm = radius_mm;
        pair[side].turns = turns;
        for (int i = 0; i < 3; i++) {
            pair[side].axis[i] = axis[i] / length;
            pair[side].centre_mm[i] =
                centre_mm[i] + (side ? 0.5 : -0.5) * spacing_mm * axis[i] / length;
        }
    }
}

void nrw_coil_group_mT(const nrw_coil *coils, size_t n, double current_A, const double at_mm[3],
                       double field_mT[3])
{
    field_mT[0] = field_mT[1] = field_mT[2] = 0.0;
    for (size_t i = 0; i < n; i++) {
        double part[3];
        nrw_coil_field_mT(&coils[i], current_A, at_mm, part);
        for (int c = 0; c < 3; c++)
            field_mT[c] += part[c];
    }
}

double nrw_coil_group_nonuniformity(const nrw_coil *coils, size_t n, const double centre_mm[3],
                                    double radius_mm)
{
    enum { RAYS = 24, RADII = 8 };
    double middle[3], worst = 0.0;
    nrw_coil_group_mT(coils, n, 1.0, centre_mm, middle);
    const double size = sqrt(dot(middle, middle));
    for (int ray = 0; ray < RAYS; ray++) {
        for (int step = 1; step <= RADII; step++) {
            const double r = radius_mm * step / RADII, angle = 2.0 * NRW_PI * ray / RAYS;
            const double at[3] = {centre_mm[0] + r * cos(angle), centre_mm[1] + r * sin(angle),
                                  centre_mm[2]};
            double field[3];
            nrw_coil_group_mT(coils, n, 1.0, at, field);
            for (int c = 0; c < 3; c++)
                field[c] -= middle[c];
            worst = fmax(worst, sqrt(dot(field, field)) / size);
        }
    }
    return worst;
}

double nrw_coil_mutual_coaxial_uH(double radius_1_mm, double radius_2_mm, double distance_mm)
{
    const double sum = radius_1_mm + radius_2_mm, difference = radius_1_mm - radius_2_mm;
    const double far2 = sum * sum + distance_mm * distance_mm;
    const double near2 = difference * difference + distance_mm * distance_mm;
    if (!(near2 >= NEAREST_SQUARED * far2) || !isfinite(far2))
        return NAN;
    const double m = 4.0 * radius_1_mm * radius_2_mm / far2, k = sqrt(m), rest = near2 / far2;
    const double kk = gsl_sf_ellint_RF(0.0, rest, 1.0, PRECISION);
    const double k_minus_e = m / 3.0 * gsl_sf_ellint_RD(0.0, rest, 1.0, PRECISION);
    /* (2/k − k) K − (2/k) E = (2/k)(K − E) − k K; mT·mm²/A is 1e-9 H */
    const double bracket = 2.0 / k * k_minus_e - k * kk;
    return NRW_MU0_MT_MM_A * sqrt(radius_1_mm * radius_2_mm) * bracket * 1e-3;
}

/* Two unit vectors across an axis. */
static void across(const double axis[3], double u[3], double v[3])
{
    const double length = sqrt(dot(axis, axis));
    const double a[3] = {axis[0] / length, axis[1] / length, axis[2] / length};
    const int thin = fabs(a[0]) < fabs(a[1]) ? (fabs(a[0]) < fabs(a[2]) ? 0 : 2)
                                             : (fabs(a[1]) < fabs(a[2]) ? 1 : 2);
    double size = 0.0;
    for (int i = 0; i < 3; i++) {
        u[i] = (i == thin) - a[thin] * a[i];
        size += u[i] * u[i];
    }
    for (int i = 0; i < 3; i++)
        u[i] /= sqrt(size);
    v[0] = a[1] * u[2] - a[2] * u[1];
    v[1] = a[2] * u[0] - a[0] * u[2];
    v[2] = a[0] * u[1] - a[1] * u[0];
}

double nrw_coil_mutual_uH(const nrw_coil *a, const nrw_coil *b)
{
    enum { POINTS = 128 };
    double ua[3], va[3], ub[3], vb[3], sum = 0.0;
    across(a->axis, ua, va);
    across(b->axis, ub, vb);
    for (int i = 0; i < POINTS; i++) {
        const double s = 2.0 * NRW_PI * i / POINTS;
        for (int j = 0; j < POINTS; j++) {
            const double t = 2.0 * NRW_PI * j / POINTS;
            double along = 0.0, distance2 = 0.0;
            for (int c = 0; c < 3; c++) {
                const double pa =
                    a->centre_mm[c] + a->radius_mm * (cos(s) * ua[c] + sin(s) * va[c]);
                const double pb =
                    b->centre_mm[c] + b->radius_mm * (cos(t) * ub[c] + sin(t) * vb[c]);
                along += (cos(s) * va[c] - sin(s) * ua[c]) * (cos(t) * vb[c] - sin(t) * ub[c]);
                distance2 += (pa - pb) * (pa - pb);
            }
            sum += along / sqrt(distance2);
        }
    }
    const double step = 2.0 * NRW_PI / POINTS;
    return NRW_MU0_MT_MM_A / (4.0 * NRW_PI) * a->radius_mm * b->radius_mm * step * step * sum *
           a->turns * b->turns * 1e-3;
}

double nrw_coil_self_uH(double radius_mm, double turns, double winding_width_mm,
                        double winding_height_mm)
{
    const double mean_distance = 0.2235 * (winding_width_mm + winding_height_mm);
    return NRW_MU0_MT_MM_A * turns * turns * radius_mm *
           (log(8.0 * radius_mm / mean_distance) - 2.0) * 1e-3;
}

double nrw_coil_warm_ohm(double resistance_20C_ohm, double temperature_C)
{
    return resistance_20C_ohm * (1.0 + 0.00393 * (temperature_C - 20.0));
}

double nrw_coil_copper_ohm(double radius_mm, double turns, double wire_mm2, double temperature_C)
{
    const double length_m = 2.0 * NRW_PI * radius_mm * 1e-3 * fabs(turns);
    return nrw_coil_warm_ohm(1.68e-8 * length_m / (wire_mm2 * 1e-6), temperature_C);
}

double nrw_coil_resonance_F(double inductance_H, double frequency_Hz)
{
    const double omega = 2.0 * NRW_PI * frequency_Hz;
    return 1.0 / (omega * omega * inductance_H);
}

double nrw_coil_quality(double resistance_ohm, double inductance_H, double frequency_Hz)
{
    return 2.0 * NRW_PI * frequency_Hz * inductance_H / resistance_ohm;
}

double nrw_coil_energy_J(double inductance_H, double current_A)
{
    return 0.5 * inductance_H * current_A * current_A;
}
