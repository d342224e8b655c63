#include "particle.h"

#include <gsl/gsl_integration.h>
#include <math.h>

#include "fluid.h"
#include "units.h"

/* µ0 in mT/(kA/m): field in mT = MU0 · H in kA/m. */
#define MU0_MT_PER_KA_M (4.0 * NRW_PI * NRW_MU0_4PI)
#define VACUUM_PERMITTIVITY_F_M 8.8541878128e-12 /* CODATA 2018 */
#define ELEMENTARY_CHARGE_C 1.602176634e-19      /* exact, 2019 SI */
#define BOLTZMANN_J_K 1.380649e-23               /* exact, 2019 SI */

double nrw_sphere_susceptibility(double susceptibility)
{
    if (isinf(susceptibility))
        return 3.0;
    return 3.0 * susceptibility / (3.0 + susceptibility);
}

double nrw_sphere_volume_um3(double diameter_um)
{
    return NRW_PI / 6.0 * diameter_um * diameter_um * diameter_um;
}

double nrw_froehlich_kennelly_kA_m(double saturation_kA_m, double susceptibility, double h_kA_m)
{
    double linear = susceptibility * h_kA_m;
    if (isinf(saturation_kA_m))
        return linear;
    return saturation_kA_m * linear / (saturation_kA_m + fabs(linear));
}

double nrw_langevin_kA_m(double saturation_kA_m, double susceptibility, double h_kA_m)
{
    if (isinf(saturation_kA_m))
        return susceptibility * h_kA_m;
    return saturation_kA_m * nrw_langevin(3.0 * susceptibility * h_kA_m / saturation_kA_m);
}

/* dL/dx, good enough for Newton's method. */
static double langevin_slope(double x)
{
    const double l = nrw_langevin(x), x2 = x * x;
    return x2 < 0.25 ? 1.0 / 3.0 - x2 / 15.0 + 2.0 * x2 * x2 / 189.0 : 1.0 - l * l - 2.0 * l / x;
}

/* x/3χ + L(x)/3 = H0/Ms with x = 3χH/Ms (docs/physics.md, eq. 3.4a). The left side rises
 * and bends down, so that steps from below the root stay below it: L(x) is at most x/3
 * and at most 1, which gives two starts. */
static double langevin_sphere_kA_m(double saturation_kA_m, double susceptibility, double applied)
{
    const double h = applied / saturation_kA_m, inverse = 1.0 / (3.0 * susceptibility);
    double x = fmax(h / (inverse + 1.0 / 9.0), (h - 1.0 / 3.0) / inverse);
    for (int step = 0; step < 60; step++) {
        const double change =
            (h - x * inverse - nrw_langevin(x) / 3.0) / (inverse + langevin_slope(x) / 3.0);
        x += change;
        if (!(change > 1e-15 * x)) /* at the root, to rounding */
            break;
    }
    return saturation_kA_m * nrw_langevin(x);
}

double nrw_sphere_magnetisation_kA_m(nrw_magnetisation_law law, double saturation_kA_m,
                                     double susceptibility, double applied_kA_m)
{
    if (isinf(saturation_kA_m))
        return nrw_sphere_susceptibility(susceptibility) * applied_kA_m;
    if (law == NRW_LAW_LANGEVIN)
        return copysign(langevin_sphere_kA_m(saturation_kA_m, susceptibility, fabs(applied_kA_m)),
                        applied_kA_m);
    /* M = law(H0 - M/3) is (chi/3) M² - b M + c = 0; its smaller root, written
     * without cancellation (docs/physics.md, eq. 3.3). */
    double h = fabs(applied_kA_m);
    double quadratic = susceptibility / 3.0;
    double b = saturation_kA_m * (1.0 + quadratic) + susceptibility * h;
    double c = saturation_kA_m * susceptibility * h;
    double m = 2.0 * c / (b + sqrt(fmax(0.0, b * b - 4.0 * quadratic * c)));
    return copysign(m, applied_kA_m);
}

double nrw_langevin(double x)
{
    double x2 = x * x;
    if (x2 > 0.25)
        return 1.0 / tanh(x) - 1.0 / x;
    /* x/(3 + x²/(5 + x²/(7 + ...))): the continued fraction of coth x - 1/x
     * (Lambert 1768); from 17 on it is exact to rounding for |x| <= ½. */
    double denominator = 17.0;
    for (int odd = 15; odd >= 3; odd -= 2)
        denominator = odd + x2 / denominator;
    return x / denominator;
}

double nrw_particle_moment_fAm2(const nrw_particles *particles, double diameter_um, double field_mT)
{
    if (particles->kind == NRW_MOMENT_PERMANENT) {
        /* A larger particle of the same material: the moment goes with volume. */
        double scale = diameter_um / particles->diameter_um;
        return particles->moment_fAm2 * scale * scale * scale;
    }
    double m_kA_m =
        nrw_sphere_magnetisation_kA_m(particles->law, particles->saturation_kA_m,
                                      particles->susceptibility, field_mT / MU0_MT_PER_KA_M);
    return m_kA_m * nrw_sphere_volume_um3(diameter_um); /* kA/m·µm³ = fA·m² */
}

static double temperature_K(const nrw_scenario *scenario)
{
    return scenario->fluid.temperature_C + NRW_ZERO_CELSIUS_K;
}

double nrw_thermal_energy_pN_um(const nrw_scenario *scenario)
{
    return NRW_BOLTZMANN * temperature_K(scenario);
}

double nrw_particle_weight_pN(const nrw_scenario *scenario, double diameter_um)
{
    if (!scenario->model.gravity)
        return 0;
    double excess_kg_m3 = scenario->particles.density_kg_m3 - scenario->fluid.density_kg_m3;
    return excess_kg_m3 * nrw_sphere_volume_um3(diameter_um) * NRW_WEIGHT_PN_PER_KG_M3_UM3;
}

void nrw_double_layer_parameters(const nrw_scenario *scenario, double diameter_um,
                                 double *amplitude_pN, double *debye_um)
{
    const nrw_particles *particles = &scenario->particles;
    double thermal_V = BOLTZMANN_J_K * temperature_K(scenario) / ELEMENTARY_CHARGE_C;
    double t = tanh(particles->surface_potential_mV * 1e-3 / (4.0 * thermal_V));
    double permittivity =
        VACUUM_PERMITTIVITY_F_M * nrw_water_permittivity(scenario->fluid.temperature_C);
    *debye_um = particles->debye_nm * 1e-3;
    /* F = 64π ε a κ (kT/e)² tanh²(eψ/4kT) (docs/physics.md, eq. 5.11); a κ has no
     * unit, ε V² is in N. */
    double a_kappa = 0.5 * diameter_um / *debye_um;
    *amplitude_pN = 64.0 * NRW_PI * permittivity * a_kappa * thermal_V * thermal_V * t * t * 1e12;
}

double nrw_double_layer_pN(const nrw_scenario *scenario, double diameter_um, double gap_um)
{
    double amplitude, debye;
    nrw_double_layer_parameters(scenario, diameter_um, &amplitude, &debye);
    return amplitude * exp(-gap_um / debye);
}

/* Gap at which amplitude·exp(-gap/debye) carries the load, not below the
 * roughness; load > 0. */
static double balance_gap_um(double amplitude_pN, double debye_um, double load_pN,
                             double roughness_um)
{
    if (amplitude_pN <= 0)
        return roughness_um;
    return fmax(roughness_um, debye_um * log(amplitude_pN / load_pN));
}

/* Potential of a particle over the floor in kT, relative to its least value. */
typedef struct gap_potential {
    double repulsion_kT; /* amplitude·debye/kT */
    double debye_um;
    double load_kT_um; /* load/kT */
    double least_kT;
} gap_potential;

static double gap_energy_kT(const gap_potential *potential, double gap_um)
{
    return potential->repulsion_kT * exp(-gap_um / potential->debye_um) +
           potential->load_kT_um * gap_um;
}

static double gap_weight(double gap_um, void *context)
{
    const gap_potential *potential = context;
    return exp(potential->least_kT - gap_energy_kT(potential, gap_um));
}

static double gap_weighted(double gap_um, void *context)
{
    return gap_um * gap_weight(gap_um, context);
}

/* Adds the integrals over [from, to] to sums (weight, gap·weight). The bare
 * 21-point rule neither allocates nor calls GSL's error handler. */
static void add_panel(gap_potential *potential, double from, double to, double sums[2])
{
    gsl_function weight = {gap_weight, potential}, weighted = {gap_weighted, potential};
    double result, error, magnitude, spread;
    gsl_integration_qk21(&weight, from, to, &result, &error, &magnitude, &spread);
    sums[0] += result;
    gsl_integration_qk21(&weighted, from, to, &result, &error, &magnitude, &spread);
    sums[1] += result;
}

/* Boltzmann mean over [low, high]. U is convex, so the weight has one peak; the
 * panels grow geometrically away from it on both sides, starting at the
 * shortest scale of U, until the weight is below e^-45. */
static double mean_gap_um(gap_potential *potential, double low_um, double high_um)
{
    double debye = potential->debye_um, load = potential->load_kT_um;
    double peak =
        load > 0 ? balance_gap_um(potential->repulsion_kT, debye, load * debye, low_um) : high_um;
    peak = fmin(fmax(peak, low_um), high_um);
    potential->least_kT = gap_energy_kT(potential, peak);
    double first = fmin(debye, load != 0 ? 1.0 / fabs(load) : debye);
    double sums[2] = {0, 0};
    for (int side = -1; side <= 1; side += 2) {
        double end = side < 0 ? low_um : high_um;
        double from = peak, step = first;
        while (from != end && gap_energy_kT(potential, from) - potential->least_kT < 45.0) {
            double to = side < 0 ? fmax(end, from - step) : fmin(end, from + step);
            add_panel(potential, fmin(from, to), fmax(from, to), sums);
            from = to;
            step *= 1.5;
        }
    }
    return sums[0] > 0 ? sums[1] / sums[0] : low_um;
}

double nrw_particle_gap_um(const nrw_scenario *scenario, double diameter_um, double load_pN,
                           bool thermal)
{
    const nrw_particles *particles = &scenario->particles;
    if (!isnan(particles->surface_gap_um))
        return particles->surface_gap_um;
    double roughness = particles->roughness_nm * 1e-3;
    double ceiling = fmax(roughness, scenario->map.depth_um - diameter_um);
    if (load_pN <= 0 && isinf(ceiling))
        return INFINITY;
    double amplitude, debye;
    nrw_double_layer_parameters(scenario, diameter_um, &amplitude, &debye);
    if (!thermal)
        return load_pN <= 0 ? ceiling
                            : fmin(ceiling, balance_gap_um(amplitude, debye, load_pN, roughness));
    if (ceiling <= roughness)
        return roughness;
    double kT = nrw_thermal_energy_pN_um(scenario);
    gap_potential potential = {amplitude * debye / kT, debye, load_pN / kT, 0};
    return mean_gap_um(&potential, roughness, ceiling);
}

double nrw_contact_gap_um(const nrw_scenario *scenario, double force_pN)
{
    if (force_pN <= 0)
        return INFINITY;
    double amplitude, debye;
    nrw_double_layer_parameters(scenario, scenario->particles.diameter_um, &amplitude, &debye);
    return balance_gap_um(0.5 * amplitude, debye, force_pN,
                          scenario->particles.roughness_nm * 1e-3);
}

double nrw_drag_pN_s_um(double diameter_um, double viscosity_Pa_s)
{
    return 3.0 * NRW_PI * viscosity_Pa_s * diameter_um;
}

double nrw_spin_drag_pN_um_s(double diameter_um, double viscosity_Pa_s)
{
    return NRW_PI * viscosity_Pa_s * diameter_um * diameter_um * diameter_um;
}

double nrw_step_out_rad_s(double moment_fAm2, double field_mT, double spin_drag_pN_um_s)
{
    return moment_fAm2 * field_mT / spin_drag_pN_um_s;
}

double nrw_dephasing(double omega_rad_s, double step_out_rad_s)
{
    double ratio = fabs(omega_rad_s) / step_out_rad_s;
    if (!(ratio > 1.0))
        return 1.0;
    /* x - sqrt(x² - 1) without cancellation for large x. */
    return 1.0 / (ratio + sqrt(ratio * ratio - 1.0));
}

double nrw_mean_spin_rad_s(double omega_rad_s, double step_out_rad_s)
{
    if (!(fabs(omega_rad_s) > step_out_rad_s))
        return omega_rad_s;
    return copysign(step_out_rad_s * nrw_dephasing(omega_rad_s, step_out_rad_s), omega_rad_s);
}
