/* Spheroids against the integrals of the general ellipsoid, and their limits. */
#include <criterion/criterion.h>
#include <gsl/gsl_integration.h>
#include <math.h>

#include "spheroid.h"
#include "units.h"

/* Integrand 1/((a² + s)^i (1 + s)^j), semi-axes a = aspect, 1, 1. */
typedef struct integrand {
    double aspect, along_power, across_power;
} integrand;

static double evaluate(double s, void *context)
{
    const integrand *p = context;
    return pow(p->aspect * p->aspect + s, -p->along_power) * pow(1 + s, -p->across_power);
}

static double integrate(double aspect, double along_power, double across_power)
{
    gsl_integration_workspace *workspace = gsl_integration_workspace_alloc(1000);
    integrand p = {aspect, along_power, across_power};
    gsl_function f = {evaluate, &p};
    double result, error;
    gsl_integration_qagiu(&f, 0, 0, 1e-10, 1000, workspace, &result, &error);
    gsl_integration_workspace_free(workspace);
    return result;
}

static const double aspects[] = {0.05, 0.3,   0.86, 0.9, 0.999, 1.0, 1.0005,
                                 1.1,  1.154, 1.16, 2,   7,     30};
enum { N_ASPECTS = sizeof aspects / sizeof aspects[0] };

/* Oberbeck 1876 and Edwardes 1892 (Happel & Brenner, section 5.11): friction
 * 16πη/(chi + a_i² alpha_i), rotation 16πη/3 (a_j² + a_k²)/(a_j² alpha_j + a_k² alpha_k). */
Test(spheroid, friction_is_that_of_the_general_ellipsoid)
{
    for (int i = 0; i < N_ASPECTS; i++) {
        double p = aspects[i];
        double chi = integrate(p, 0.5, 1), along = integrate(p, 1.5, 1),
               across = integrate(p, 0.5, 2);
        nrw_spheroid_friction f = nrw_spheroid_friction_of(p);
        double radius = cbrt(p);
        cr_assert_float_eq(f.along * 6 * radius * (chi + p * p * along) / 16, 1, 1e-9, "%g", p);
        cr_assert_float_eq(f.across * 6 * radius * (chi + across) / 16, 1, 1e-9, "%g", p);
        cr_assert_float_eq(f.spin * 8 * p * 3 * (2 * across) / (16 * 2), 1, 1e-9, "%g", p);
        double tumble = 16.0 / 3 * (p * p + 1) / (p * p * along + across);
        cr_assert_float_eq(f.tumble * 8 * p / tumble, 1, 1e-9, "%g", p);
    }
}

/* Osborn 1945: N = (a b²/2) ∫ ds/((a² + s) Δ). */
Test(spheroid, demagnetising_factor_is_osborns_integral)
{
    for (int i = 0; i < N_ASPECTS; i++) {
        double p = aspects[i];
        cr_assert_float_eq(nrw_spheroid_demagnetising(p), 0.5 * p * integrate(p, 1.5, 1), 1e-9,
                           "%g", p);
    }
}

Test(spheroid, sphere_is_the_limit_from_both_sides)
{
    nrw_spheroid_friction f = nrw_spheroid_friction_of(1);
    cr_assert_float_eq(f.along, 1, 1e-15);
    cr_assert_float_eq(f.across, 1, 1e-15);
    cr_assert_float_eq(f.spin, 1, 1e-15);
    cr_assert_float_eq(f.tumble, 1, 1e-15);
    cr_assert_float_eq(nrw_spheroid_demagnetising(1), 1.0 / 3, 1e-15);
    /* The torque is odd in p - 1 to leading order, without rounding noise:
     * chi² difference/2 with difference = 2/5 · 2·1e-9 … at chi = 1: 9/32 of it. */
    double prolate = nrw_spheroid_induced_torque(1 + 1e-9, 1, NRW_PI / 4);
    double oblate = nrw_spheroid_induced_torque(1 - 1e-9, 1, NRW_PI / 4);
    cr_assert_float_eq(prolate / 1e-9, 0.4 * 9.0 / 32, 1e-6);
    cr_assert_float_eq(prolate / oblate, -1, 1e-6);
}

/* Series and closed form meet where |z| = ¼. */
Test(spheroid, branches_join)
{
    const double joins[] = {1 / sqrt(0.75), 1 / sqrt(1.25)};
    for (int i = 0; i < 2; i++) {
        double below = joins[i] * (1 - 1e-14), above = joins[i] * (1 + 1e-14);
        nrw_spheroid_friction a = nrw_spheroid_friction_of(below),
                              b = nrw_spheroid_friction_of(above);
        cr_assert_float_eq(a.along, b.along, 1e-13);
        cr_assert_float_eq(a.across, b.across, 1e-13);
        cr_assert_float_eq(a.spin, b.spin, 1e-13);
        cr_assert_float_eq(a.tumble, b.tumble, 1e-13);
    }
}

/* Oberbeck 1876: 16 η a broadside, 32/3 η a edgewise, 32/3 η a³ about any axis. */
Test(spheroid, thin_disc)
{
    double p = 1e-6, radius = cbrt(p); /* disc of unit radius; the next order is p */
    nrw_spheroid_friction f = nrw_spheroid_friction_of(p);
    cr_assert_float_eq(f.along * 6 * NRW_PI * radius, 16, 1e-4);
    cr_assert_float_eq(f.across * 6 * NRW_PI * radius, 32.0 / 3, 1e-4);
    cr_assert_float_eq(f.spin * 8 * NRW_PI * p, 32.0 / 3, 1e-4);
    cr_assert_float_eq(f.tumble * 8 * NRW_PI * p, 32.0 / 3, 1e-4);
    cr_assert_float_eq(nrw_spheroid_demagnetising(p), 1, 1e-5);
}

Test(spheroid, shear_turns_rods_and_discs_alike)
{
    cr_assert_float_eq(nrw_jeffery_period_s(4, 3), nrw_jeffery_period_s(0.25, -3), 1e-12);
    cr_assert_float_eq(nrw_jeffery_period_s(1, 1), 4 * NRW_PI, 1e-12);
}

/* The fit is for cylinders, of 1.5 times the volume of the spheroid within and
 * with all of it farther out: more drag, but not twice. */
Test(spheroid, rod_drag_is_near_that_of_a_spheroid)
{
    for (int p = 3; p <= 30; p++) {
        double spheroid = nrw_spheroid_friction_of(p).tumble * NRW_PI * 1e-3 * 1.0 / (p * p);
        double rod = nrw_rod_tumble_drag_pN_um_s(1, p, 1e-3);
        cr_assert(rod > 1.2 * spheroid && rod < 1.8 * spheroid, "%d: %g", p, rod / spheroid);
    }
}
