#include <criterion/criterion.h>
#include <gsl/gsl_sf_ellint.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "doublet_setup.h"
#include "particle.h"

/* The shape of fused doublets, and a single one: how it drags, follows and rests. */

static small_setup setup;

static void end(void)
{
    if (setup.scenario)
        small_setup_clear(&setup);
}

TestSuite(doublet, .fini = end);

#define ALONG "{kind: doublet, aspect: 2, moment: along}"
#define ACROSS "{kind: doublet, aspect: 2, moment: across}"
#define PERMANENT "magnetics: {kind: permanent, moment_fAm2: 30}"
#define INDUCED "magnetics: {kind: induced, susceptibility: 0.30}"
#define LAGGING "magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}"

static const double ORIGIN[1][3] = {{0.0, 0.0, 0.0}};
static const nrw_vec3 UP = {0.0, 0.0, 1.0};

static nrw_vec3 axis_of(const nrw_world *world)
{
    return world->doublets->axes[0];
}

/* --- shape ------------------------------------------------------------------------- */

Test(doublet, two_lobes_have_the_volume_of_the_sphere_and_length_over_width_is_the_aspect)
{
    for (double aspect = 1.0; aspect < 2.01; aspect += 0.125) {
        const nrw_doublet_shape shape = nrw_doublet_shape_of(aspect);
        const double a = shape.lobe, s = 2.0 * shape.half;
        /* the lens of two spheres a distance s apart: π (4a + s)(2a − s)²/12 */
        const double lens = NRW_PI / 12.0 * (4.0 * a + s) * (2.0 * a - s) * (2.0 * a - s);
        const double volume = 8.0 / 3.0 * NRW_PI * a * a * a - lens;
        cr_assert_float_eq(volume, 4.0 / 3.0 * NRW_PI, 1e-12); /* rounding */
        cr_assert_float_eq((s + 2.0 * a) / (2.0 * a), aspect, 1e-12);
    }
}

/* Demagnetising factor along the axis of two unit spheres q diameters apart, by the
 * energy of their surface charges cos θ: rings with the complete elliptic integral. Two
 * staggered grids keep off its logarithm. */
static double demagnetising_of_charges(double q)
{
    enum { N = 300 };
    static double z[2][2 * N], r[2][2 * N], charge[2][2 * N];
    const double half = q, edge = acos(-q), volume = nrw_doublet_shape_of(1.0 + q).lobe;
    for (int grid = 0; grid < 2; grid++)
        for (int k = 0; k < 2 * N; k++) {
            const double side = k < N ? 1.0 : -1.0;
            const double angle = edge * (1.0 - ((k % N) + (grid ? 0.75 : 0.25)) / N);
            z[grid][k] = side * (half + cos(angle));
            r[grid][k] = sin(angle);
            charge[grid][k] = side * cos(angle) * sin(angle) * edge / N;
        }
    double sum = 0.0;
    for (int i = 0; i < 2 * N; i++)
        for (int j = 0; j < 2 * N; j++) {
            const double wide = r[0][i] + r[1][j], apart = z[0][i] - z[1][j];
            const double d2 = wide * wide + apart * apart;
            const double k = sqrt(4.0 * r[0][i] * r[1][j] / d2);
            sum += charge[0][i] * charge[1][j] * 2.0 / NRW_PI / sqrt(d2) *
                   gsl_sf_ellint_Kcomp(k, GSL_PREC_DOUBLE);
        }
    return 3.0 / 4.0 * sum * pow(volume, 3.0);
}

Test(doublet, the_demagnetising_factor_is_that_of_the_lobes_charges)
{
    /* exact: a sphere, and two that touch, each in the other's field (⅔)(½)³ at its
     * middle less ⅓: ⅓ − 1/12 */
    cr_assert_float_eq(nrw_doublet_demagnetising(1.0), 1.0 / 3.0, 1e-12);
    cr_assert_float_eq(nrw_doublet_demagnetising(2.0), 0.25, 1e-12);
    /* the fit's 1e-3 and the rings' 1e-3 (5e-4 at twice as many) */
    for (double q = 0.05; q < 1.0; q += 0.119)
        cr_assert_float_eq(nrw_doublet_demagnetising(1.0 + q), demagnetising_of_charges(q), 2e-3,
                           "q = %g", q);
}

/* --- drag -------------------------------------------------------------------------- */

Test(doublet, far_from_walls_it_drags_like_perrins_spheroid)
{
    const double aspects[] = {1.0, 1.4, 2.0}, eta = 1e-3, a = 1.7;
    const nrw_vec3 axis = {0.36, 0.48, 0.8}, across = {0.8, -0.6, 0.0};
    for (int k = 0; k < 3; k++) {
        const nrw_doublet_medium medium = {nrw_doublet_shape_of(aspects[k]), eta, 1.0, false};
        const nrw_spheroid_friction f = nrw_spheroid_friction_of(aspects[k]);
        nrw_mat6 r;
        nrw_doublet_resistance(&medium, a, 0.0, axis, &r);
        const double units[2] = {6.0 * NRW_PI * eta * a, 8.0 * NRW_PI * eta * a * a * a};
        const double expected[2][2] = {{f.along, f.across}, {f.spin, f.tumble}};
        for (int block = 0; block < 2; block++)
            for (int which = 0; which < 2; which++) {
                const nrw_vec3 v = which ? across : axis;
                const double in[3] = {v.x, v.y, v.z};
                for (int row = 0; row < 6; row++) {
                    double out = 0.0;
                    for (int c = 0; c < 3; c++)
                        out += r.at[row][3 * block + c] * in[c];
                    const double wanted = row / 3 == block
                                              ? units[block] * expected[block][which] * in[row % 3]
                                              : 0.0;
                    cr_assert_float_eq(out, wanted, 1e-14 * units[1]); /* rounding */
                }
            }
    }
}

Test(doublet, at_aspect_1_it_has_the_mobility_of_a_sphere_near_the_floor)
{
    const double eta = 0.89e-3, a = 1.5, gaps[] = {0.005, 0.1, 1.0};
    const nrw_doublet_medium medium = {nrw_doublet_shape_of(1.0), eta, 1.0, true};
    const nrw_vec3 axis = {0.36, 0.48, 0.8};
    for (int k = 0; k < 3; k++) {
        const nrw_floor_mobility sphere = nrw_floor_mobility_at(nrw_floor_table_get(), gaps[k]);
        nrw_mat6 r, m;
        nrw_doublet_resistance(&medium, a, a * (1.0 + gaps[k]), axis, &r);
        cr_assert(nrw_cholesky6(&r));
        nrw_cholesky6_inverse(&r, &m);
        const double t = 6.0 * NRW_PI * eta * a, w = 8.0 * NRW_PI * eta * a * a * a;
        const double expected[] = {sphere.mt, sphere.mz, sphere.mr, sphere.ms, sphere.rolling};
        const double found[] = {m.at[0][0] * t, m.at[2][2] * t, m.at[3][3] * w, m.at[5][5] * w,
                                m.at[0][4] / m.at[4][4] / a};
        for (int i = 0; i < 5; i++)
            cr_assert_float_eq(found[i], expected[i], 1e-12); /* rounding */
    }
}

Test(doublet, a_standing_one_that_tumbles_walks_because_the_floor_holds_its_lower_lobe)
{
    const nrw_doublet_medium medium = {nrw_doublet_shape_of(2.0), 1e-3, 0.0, true};
    const double height = medium.shape.lobe + medium.shape.half + 0.02;
    nrw_mat6 r, m;
    nrw_doublet_resistance(&medium, 1.0, height, UP, &r);
    cr_assert(nrw_cholesky6(&r));
    nrw_cholesky6_inverse(&r, &m);
    /* turning about y moves the upper lobe toward +x: so does the middle go, less than
     * it would if the lower lobe stood still */
    const double walk = m.at[0][4] / m.at[4][4] / medium.shape.half;
    cr_assert(walk > 0.1 && walk < 1.0, "%g", walk);
}

/* --- turning ----------------------------------------------------------------------- */

static double spin_Hz_at(const char *magnetics, const char *shape, double frequency_Hz,
                         double seconds, double *out_Hz)
{
    setup = doublet_setup(1, ORIGIN, false, magnetics, shape);
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, frequency_Hz, 0.0);
    /* the moment stands on the axis of rotation for across: that is where it rolls */
    if (strcmp(shape, ACROSS) == 0)
        world->doublets->axes[0] = UP;
    (void)doublet_advance(world, &field, UP, 0.25 * seconds, 0.0);
    const double spin = doublet_advance(world, &field, UP, seconds, 0.0) / (2.0 * NRW_PI);
    *out_Hz = nrw_doublet_step_out_rad_s(&world->body, 10.0) / (2.0 * NRW_PI);
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    setup.scenario = NULL;
    return spin;
}

Test(doublet, a_permanent_one_follows_a_turning_field_up_to_its_step_out_and_slips_beyond)
{
    /* mB/ζ of tumbling and of spinning about the axis (Perrin) */
    const double a3 = pow(1.5e-6, 3.0), eta = 0.8900e-3;
    const double torque = 30e-15 * 10e-3, unit = 8.0 * NRW_PI * eta * a3 * 2.0 * NRW_PI;
    const char *shapes[] = {ALONG, ACROSS};
    const nrw_spheroid_friction f = nrw_spheroid_friction_of(2.0);
    const double step_out[] = {torque / unit / f.tumble, torque / unit / f.spin};
    for (int k = 0; k < 2; k++) {
        double out;
        const double below = spin_Hz_at(PERMANENT, shapes[k], 0.98 * step_out[k], 0.25, &out);
        cr_assert_float_eq(out, step_out[k], 1e-3 * out); /* water's viscosity to 4 digits */
        /* the end of the transient: a fraction of a turn */
        cr_assert_float_eq(below, 0.98 * step_out[k], 1.0);
        const double beyond = spin_Hz_at(PERMANENT, shapes[k], 1.25 * step_out[k], 0.25, &out);
        /* Adler 1946: 1.25 − sqrt(1.25² − 1) = 0.5; 0.3 % of that for 32 steps a period,
         * and a beat of half a turn */
        cr_assert_float_eq(beyond, 0.5 * step_out[k], 0.003 * step_out[k] + 2.0);
    }
}

Test(doublet, an_induced_one_follows_by_its_shape_up_to_its_own_step_out)
{
    double out;
    const double below = spin_Hz_at(INDUCED, "{kind: doublet, aspect: 2}", 6.0, 2.0, &out);
    /* Δα B²/2ζ by hand: χ/(1 + χ/4) − χ/(1 + 3χ/8), times V B²/2µ0 */
    const double chi = 0.3, volume = NRW_PI / 6.0 * 27e-18, eta = 0.89e-3;
    const double excess = chi / (1.0 + chi / 4.0) - chi / (1.0 + 3.0 * chi / 8.0);
    const double torque = volume * excess * 1e-4 / (2.0 * 4e-7 * NRW_PI);
    const double drag =
        8.0 * NRW_PI * eta * pow(1.5e-6, 3.0) * nrw_spheroid_friction_of(2.0).tumble;
    cr_assert_float_eq(out, torque / drag / (2.0 * NRW_PI), 1e-3 * out);
    cr_assert_float_eq(below, 6.0, 0.06); /* the rest of the transient: a tenth of a turn */
    const double beyond = spin_Hz_at(INDUCED, "{kind: doublet, aspect: 2}", 12.0, 4.0, &out);
    /* half a turn of the beat in 4 s */
    cr_assert_float_eq(beyond, 12.0 - sqrt(144.0 - out * out), 0.15);
}

Test(doublet, at_aspect_1_an_induced_one_spins_by_its_lag_like_a_sphere)
{
    double out;
    const double spin =
        spin_Hz_at(LAGGING, "{kind: doublet, aspect: 1}", 50.0, 1.0, &out) * 2.0 * NRW_PI;
    setup = doublet_setup(1, ORIGIN, false, LAGGING, "{kind: doublet, aspect: 1}");
    nrw_world *world = small_world(&setup, false);
    const double alpha = world->body.slope_fAm2_mT, drag = world->body.spin_drag_pN_um_s;
    const double x = 2.0 * NRW_PI * 50.0 * 1e-5, sphere = alpha * 100.0 * x / (1.0 + x * x) / drag;
    /* the lag shrinks as the body turns along, by 1/(1 + τ α B²/ζ): 3 %, which the sphere's
     * own model leaves out */
    const double expected = sphere / (1.0 + 1e-5 * alpha * 100.0 / drag);
    cr_assert_float_eq(spin, expected, 2e-3 * expected); /* x² and the step */
    nrw_world_destroy(world);
}

/* --- which way it turns -------------------------------------------------------------- */

static nrw_vec3 across_heading(double tilt_deg)
{
    const double tilt = tilt_deg * NRW_DEGREE;
    return (nrw_vec3){0.0, sin(tilt), cos(tilt)};
}

Test(doublet, with_its_moment_across_it_rolls_about_its_long_axis_and_along_tumbles)
{
    const char *shapes[] = {ALONG, ACROSS};
    double aligned[2], went[2];
    for (int k = 0; k < 2; k++) {
        setup = doublet_setup(1, (const double[1][3]){{0.0, 0.0, NAN}}, true, PERMANENT, shapes[k]);
        setup.scenario->model.brownian = true; /* which finds the way out of a symmetric start */
        nrw_world *world = small_world(&setup, false);
        const nrw_field field = small_rotating(10.0, 10.0, 90.0);
        (void)doublet_advance(world, &field, across_heading(90.0), 1.0, 0.0);
        const double from = world->x[0];
        const double spin = doublet_advance(world, &field, across_heading(90.0), 1.0, 0.0);
        cr_assert_float_eq(spin / (2.0 * NRW_PI), 10.0, 0.2); /* both follow the field */
        aligned[k] = fabs(nrw_vec3_dot(axis_of(world), across_heading(90.0)));
        went[k] = world->x[0] - from;
        nrw_world_destroy(world);
        small_setup_clear(&setup);
        setup.scenario = NULL;
    }
    cr_assert_lt(aligned[0], 0.05); /* the axis turns in the field's plane: end over end */
    cr_assert_gt(aligned[1], 0.98); /* the axis lies across the way: like a cylinder */
    cr_assert(went[1] > 2.0 && went[0] > 1.5 * went[1], "%g, %g", went[0], went[1]);
}

Test(doublet, an_induced_one_turns_its_axis_into_a_steady_field)
{
    setup = doublet_setup(1, ORIGIN, false, INDUCED, "{kind: doublet, aspect: 1.7}");
    nrw_world *world = small_world(&setup, false);
    const double start = 1.2;
    world->doublets->axes[0] = (nrw_vec3){cos(start), sin(start), 0.0};
    const nrw_field field = doublet_steady(10.0, 0.0, 0.0);
    (void)doublet_advance(world, &field, UP, 0.05, 0.0);
    /* tan θ = tan θ0 e^{−2 ω_c t} */
    const double rate = 2.0 * nrw_doublet_step_out_rad_s(&world->body, 10.0);
    const nrw_vec3 a = axis_of(world);
    const double expected = atan(tan(start) * exp(-rate * 0.05));
    cr_assert_float_eq(atan2(a.y, a.x), expected, 1e-4);
    nrw_world_destroy(world);
}

/* --- floor ------------------------------------------------------------------------- */

Test(doublet, it_lies_on_both_lobes_where_their_double_layers_carry_its_weight)
{
    setup = doublet_setup(1, (const double[1][3]){{0.0, 0.0, 1.7}}, true, PERMANENT, ALONG);
    nrw_world *world = small_world(&setup, false);
    const double slope = 0.2;
    world->doublets->axes[0] = (nrw_vec3){cos(slope), 0.0, sin(slope)};
    world->ux[0] = cos(slope);
    world->uz[0] = sin(slope);
    const nrw_field none = doublet_steady(0.0, 0.0, 0.0);
    (void)doublet_advance(world, &none, UP, 6.0, 0.0);
    const double lobe = 1.5 * nrw_doublet_shape_of(2.0).lobe;
    const double gap =
        nrw_particle_gap_um(setup.scenario, 2.0 * lobe, 0.5 * world->body.weight_pN, false);
    cr_assert_float_eq(world->z[0] - lobe, gap, 1e-4); /* a hundredth of a screening length */
    cr_assert_float_eq(axis_of(world).z, 0.0, 1e-4);
    nrw_world_destroy(world);
}

Test(doublet, the_start_rests_at_the_gap_that_check_prints)
{
    setup = doublet_setup(1, (const double[1][3]){{0.0, 0.0, NAN}}, true, PERMANENT, ALONG);
    nrw_world *world = small_world(&setup, false);
    const nrw_lone_particle lone = nrw_lone_particle_of(setup.scenario, 10.0);
    cr_assert_float_eq(world->z[0], 1.5 * nrw_doublet_shape_of(2.0).lobe + lone.gap_um, 1e-6);
    cr_assert_float_eq(axis_of(world).z, 0.0, 1e-12);
    nrw_world_destroy(world);
}
