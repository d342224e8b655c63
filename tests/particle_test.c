/* One particle: moments, weight, gaps against balances and brute integrals. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "fluid.h"
#include "particle.h"
#include "units.h"

/* The reference particle: 3 µm, chi 0.30, 1800 kg/m³, in water at 25 °C. */
static nrw_scenario reference(void)
{
    nrw_scenario s;
    memset(&s, 0, sizeof s);
    s.fluid.temperature_C = 25;
    s.fluid.viscosity_Pa_s = nrw_water_viscosity_Pa_s(298.15);
    s.fluid.density_kg_m3 = nrw_water_density_kg_m3(25);
    s.particles.kind = NRW_MOMENT_INDUCED;
    s.particles.diameter_um = 3;
    s.particles.density_kg_m3 = 1800;
    s.particles.susceptibility = 0.30;
    s.particles.saturation_kA_m = INFINITY;
    s.particles.surface_potential_mV = 50;
    s.particles.debye_nm = 10;
    s.particles.roughness_nm = 5;
    s.particles.surface_gap_um = NAN;
    s.map.has_floor = true;
    s.map.depth_um = INFINITY;
    s.model.gravity = true;
    return s;
}

/* --- moments --------------------------------------------------------------- */

Test(particle, reference_carries_its_moment)
{
    nrw_scenario s = reference();
    /* V chi_eff B/µ0 = 14.137 · 0.27273 · 7.9577 */
    cr_assert_float_eq(nrw_particle_moment_fAm2(&s.particles, 3, 10), 30.681, 1e-3);
}

Test(particle, saturating_moment_solves_its_own_equation)
{
    nrw_scenario s = reference();
    s.particles.saturation_kA_m = 40;
    for (double field = 0.01; field < 1e4; field *= 3) {
        for (double chi = 0.01; chi < 1e4; chi *= 10) {
            s.particles.susceptibility = chi;
            double applied = field / (0.4 * NRW_PI);
            double m = nrw_particle_moment_fAm2(&s.particles, 3, field) / nrw_sphere_volume_um3(3);
            double law = nrw_froehlich_kennelly_kA_m(40, chi, applied - m / 3);
            /* near m/3 = applied the difference loses digits, which chi magnifies */
            cr_assert_float_eq(law, m, 1e-14 * (40 + chi * applied), "%g mT, chi %g", field, chi);
        }
    }
}

Test(particle, moment_is_linear_in_weak_fields_and_saturates_in_strong_ones)
{
    nrw_scenario s = reference();
    s.particles.saturation_kA_m = 40;
    double volume = nrw_sphere_volume_um3(3), slope = nrw_sphere_susceptibility(0.3);
    double weak = nrw_particle_moment_fAm2(&s.particles, 3, 1e-6) / volume;
    cr_assert_float_eq(weak / (slope * 1e-6 / (0.4 * NRW_PI)), 1, 1e-6);
    double strong = nrw_particle_moment_fAm2(&s.particles, 3, 1e7) / volume;
    cr_assert(strong < 40 && strong > 39.9);
    cr_assert_eq(nrw_particle_moment_fAm2(&s.particles, 3, 0), 0);
    cr_assert_eq(nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, 40, 0.3, -7),
                 -nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, 40, 0.3, 7));
    cr_assert_float_eq(nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, 1e15, 0.3, 7),
                       nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, INFINITY, 0.3, 7),
                       1e-12);
}

Test(particle, permanent_moment_ignores_the_field_and_goes_with_volume)
{
    nrw_scenario s = reference();
    s.particles.kind = NRW_MOMENT_PERMANENT;
    s.particles.moment_fAm2 = 30;
    cr_assert_float_eq(nrw_particle_moment_fAm2(&s.particles, 3, 0), 30, 1e-12);
    cr_assert_float_eq(nrw_particle_moment_fAm2(&s.particles, 6, 10), 240, 1e-12);
}

Test(particle, langevin_function_is_smooth_odd_and_bounded)
{
    /* The two forms meet at ½: the steps on both sides are the slope's, 0.327. */
    double below = nrw_langevin(0.5) - nrw_langevin(0.5 - 1e-9);
    double across = nrw_langevin(0.5 + 1e-9) - nrw_langevin(0.5);
    cr_assert_float_eq(across, below, 2e-15);
    for (double x = 1e-8; x < 100; x *= 1.7) {
        /* long double holds 8 to 11 more digits than the cancellation at 1e-3 takes */
        long double exact = coshl(x) / sinhl(x) - 1 / (long double)x;
        if (x > 1e-2)
            cr_assert_float_eq(nrw_langevin(x) / (double)exact, 1, 1e-12, "%g", x);
        else
            cr_assert_float_eq(nrw_langevin(x) / (x / 3 - pow(x, 3) / 45 + 2 * pow(x, 5) / 945), 1,
                               1e-12, "%g", x);
        cr_assert_eq(nrw_langevin(-x), -nrw_langevin(x));
    }
    cr_assert_eq(nrw_langevin(0), 0);
}

Test(particle, langevin_moment_solves_its_own_equation)
{
    nrw_scenario s = reference();
    s.particles.saturation_kA_m = 40;
    s.particles.law = NRW_LAW_LANGEVIN;
    for (double field = 1e-4; field < 1e5; field *= 3) {
        for (double chi = 0.01; chi < 1e4; chi *= 10) {
            s.particles.susceptibility = chi;
            double applied = field / (0.4 * NRW_PI);
            double m = nrw_particle_moment_fAm2(&s.particles, 3, field) / nrw_sphere_volume_um3(3);
            double law = nrw_langevin_kA_m(40, chi, applied - m / 3);
            /* near m/3 = applied the difference loses digits, which chi magnifies */
            cr_assert_float_eq(law, m, 1e-14 * (40 + chi * applied), "%g mT, chi %g", field, chi);
        }
    }
}

Test(particle, langevin_moment_has_the_limits_of_weak_and_strong_fields)
{
    const nrw_magnetisation_law law = NRW_LAW_LANGEVIN;
    double weak = nrw_sphere_magnetisation_kA_m(law, 40, 0.3, 1e-4);
    /* L(x) = x/3 (1 - x²/15): x = 3e-6 here */
    cr_assert_float_eq(weak / (nrw_sphere_susceptibility(0.3) * 1e-4), 1, 1e-11);
    /* 1 - L -> 1/x = Ms/(3 χ (H0 - Ms/3)) */
    double strong = nrw_sphere_magnetisation_kA_m(law, 40, 0.3, 1e5);
    cr_assert_float_eq(40 - strong, 40.0 * 40.0 / (0.9 * (1e5 - 40.0 / 3.0)), 1e-6);
    cr_assert_eq(nrw_sphere_magnetisation_kA_m(law, 40, 0.3, 0), 0);
    cr_assert_eq(nrw_sphere_magnetisation_kA_m(law, 40, 0.3, -7),
                 -nrw_sphere_magnetisation_kA_m(law, 40, 0.3, 7));
    cr_assert_eq(nrw_sphere_magnetisation_kA_m(law, INFINITY, 0.3, 7),
                 nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, INFINITY, 0.3, 7));
    /* the two laws share slope and saturation; Langevin's bends later, as x³ and not x² */
    cr_assert_gt(nrw_sphere_magnetisation_kA_m(law, 40, 0.3, 40),
                 1.1 * nrw_sphere_magnetisation_kA_m(NRW_LAW_FROHLICH_KENNELLY, 40, 0.3, 40));
}

Test(particle, dephased_moments_shrink_beyond_step_out)
{
    cr_assert_eq(nrw_dephasing(0.5, 1), 1);
    cr_assert_eq(nrw_dephasing(1, 1), 1);
    /* Values of the averaged model's description. */
    cr_assert_float_eq(nrw_dephasing(1.25, 1), 0.500, 1e-12);
    cr_assert_float_eq(nrw_dephasing(-2, 1), 0.268, 5e-4);
    cr_assert_float_eq(nrw_dephasing(1e9, 1), 0.5e-9, 1e-20);
}

/* Mean of the moment in the turning frame, from an orbit stepped finely. */
Test(particle, dephasing_is_the_mean_over_a_slipping_orbit)
{
    const double omega = 1.7, critical = 1.0;
    const double slip = sqrt(omega * omega - critical * critical);
    enum { STEPS = 20000 };
    double lag = 0.3, c = 0, s = 0, turned = 0, dt = 2 * NRW_PI / slip / STEPS;
    for (int i = 0; i < STEPS; i++) {
        double middle = lag + 0.5 * dt * (omega - critical * sin(lag));
        double rate = omega - critical * sin(middle);
        c += cos(middle) / STEPS;
        s += sin(middle) / STEPS;
        turned += (omega - rate) / STEPS;
        lag += dt * rate;
    }
    /* the midpoint rule's error falls with dt²: 1e-7 */
    cr_assert_float_eq(hypot(c, s), nrw_dephasing(omega, critical), 1e-6);
    cr_assert_float_eq(turned, nrw_mean_spin_rad_s(omega, critical), 1e-6);
    cr_assert_eq(nrw_mean_spin_rad_s(-omega, critical), -nrw_mean_spin_rad_s(omega, critical));
    cr_assert_eq(nrw_mean_spin_rad_s(0.4, critical), 0.4);
}

/* --- weight and gap -------------------------------------------------------- */

Test(particle, weight_follows_density_and_the_switch)
{
    nrw_scenario s = reference();
    /* 803 kg/m³ · 14.137 µm³ · 9.80665e-6 */
    cr_assert_float_eq(nrw_particle_weight_pN(&s, 3), 0.11133, 2e-5);
    s.particles.density_kg_m3 = 900;
    cr_assert_lt(nrw_particle_weight_pN(&s, 3), 0);
    s.model.gravity = false;
    cr_assert_eq(nrw_particle_weight_pN(&s, 3), 0);
}

/* Derjaguin 1934: 2πa times the energy per area of plates, the integral of their
 * pressure 64 n kT tanh²(eψ/4kT) e^-κh, n from κ² = 2 n e²/(ε kT); plain SI. */
Test(particle, double_layer_is_derjaguins_integral_of_the_pressure)
{
    nrw_scenario s = reference();
    double kT = 1.380649e-23 * 298.15, e = 1.602176634e-19, kappa = 1 / 10e-9;
    double permittivity = 8.8541878128e-12 * nrw_water_permittivity(25);
    double n = permittivity * kT * kappa * kappa / (2 * e * e);
    double t = tanh(e * 0.05 / (4 * kT));
    double plates_J_m2 = 64 * n * kT * t * t * exp(-kappa * 30e-9) / kappa;
    double force_pN = 2 * NRW_PI * 1.5e-6 * plates_J_m2 * 1e12;
    cr_assert_float_eq(nrw_double_layer_pN(&s, 3, 0.030) / force_pN, 1, 1e-12);
    /* κ of 10 nm is a 1:1 salt of 0.92 mM: 0.304 nm/√M (Israelachvili 2011). */
    cr_assert_float_eq(n / 6.02214076e23, 0.304 * 0.304 / 100 * 1e3, 0.02);
}

Test(particle, gap_balances_weight_and_load)
{
    nrw_scenario s = reference();
    for (double load = 0.01; load < 500; load *= 5) {
        double gap = nrw_particle_gap_um(&s, 3, load, false);
        cr_assert_float_eq(nrw_double_layer_pN(&s, 3, gap) / load, 1, 1e-12);
    }
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, 0.11133, false), 0.101, 2e-3);
}

Test(particle, heavy_load_and_bare_surfaces_rest_on_the_roughness)
{
    nrw_scenario s = reference();
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 1e6, false), 0.005);
    s.particles.surface_potential_mV = 0;
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 0.1, false), 0.005);
}

Test(particle, given_gap_is_kept)
{
    nrw_scenario s = reference();
    s.particles.surface_gap_um = 0.03;
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 0.1, true), 0.03);
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 1e9, false), 0.03);
}

/* Midpoint sum over a fine grid: the plain twin. */
static double brute_mean(const nrw_scenario *s, double load, double top)
{
    enum { STEPS = 400000 };
    double amplitude, debye, kT = nrw_thermal_energy_pN_um(s);
    nrw_double_layer_parameters(s, 3, &amplitude, &debye);
    double bottom = s->particles.roughness_nm * 1e-3, step = (top - bottom) / STEPS;
    double least = INFINITY, weight = 0, sum = 0;
    for (int pass = 0; pass < 2; pass++)
        for (int i = 0; i < STEPS; i++) {
            double gap = bottom + (i + 0.5) * step;
            double u = (amplitude * debye * exp(-gap / debye) + load * gap) / kT;
            if (pass == 0)
                least = fmin(least, u);
            else
                weight += exp(least - u), sum += gap * exp(least - u);
        }
    return sum / weight;
}

Test(particle, thermal_gap_is_the_boltzmann_mean)
{
    nrw_scenario s = reference();
    const double loads[] = {0.02, 0.11133, 0.5, 5, 80};
    for (int i = 0; i < 5; i++) {
        double mean = nrw_particle_gap_um(&s, 3, loads[i], true);
        double top = 0.2 + 45 * nrw_thermal_energy_pN_um(&s) / loads[i];
        /* the grid's own error */
        cr_assert_float_eq(mean / brute_mean(&s, loads[i], top), 1, 1e-6, "load %g", loads[i]);
        cr_assert_gt(mean, nrw_particle_gap_um(&s, 3, loads[i], false));
    }
    s.particles.roughness_nm = 60; /* the peak of the weight is cut off */
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, 5, true) / brute_mean(&s, 5, 0.25), 1, 1e-6);
    s.particles.roughness_nm = 5;
    s.particles.surface_potential_mV = 0; /* kT/W above the roughness */
    double kT = nrw_thermal_energy_pN_um(&s);
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, 0.1, true), 0.005 + kT / 0.1, 1e-9);
}

Test(particle, ceiling_bounds_the_gap)
{
    nrw_scenario s = reference();
    s.map.depth_um = 8;
    double light = 1e-4;
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, light, true) / brute_mean(&s, light, 5), 1, 1e-6);
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, -0.05, true) / brute_mean(&s, -0.05, 5), 1, 1e-6);
    cr_assert_eq(nrw_particle_gap_um(&s, 3, -0.05, false), 5);
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 0, false), 5);
    s.particles.surface_potential_mV = 0; /* nothing acts: the middle of the slit */
    cr_assert_float_eq(nrw_particle_gap_um(&s, 3, 0, true), 0.5 * (0.005 + 5), 1e-9);
    s.map.depth_um = 2; /* no room at all */
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 0.1, true), 0.005);
}

Test(particle, buoyant_particles_have_no_gap_in_an_open_depth)
{
    nrw_scenario s = reference();
    cr_assert_eq(nrw_particle_gap_um(&s, 3, 0, false), INFINITY);
    cr_assert_eq(nrw_particle_gap_um(&s, 3, -0.1, true), INFINITY);
}

Test(particle, touching_spheres_repel_with_half_the_floors_amplitude)
{
    nrw_scenario s = reference();
    double gap = nrw_contact_gap_um(&s, 6.7);
    cr_assert_float_eq(0.5 * nrw_double_layer_pN(&s, 3, gap), 6.7, 1e-9);
    cr_assert_eq(nrw_contact_gap_um(&s, 1e6), 0.005);
    cr_assert_eq(nrw_contact_gap_um(&s, 0), INFINITY);
}
