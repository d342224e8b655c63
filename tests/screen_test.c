#include <criterion/criterion.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "duct_flow.h"
#include "mobility.h"
#include "screen.h"
#include "small_setup.h"

/* What side walls leave of the flow that rollers make: docs/physics.md, equation 5.15. */

/* --- the law against the rotlet's images --------------------------------------------- */

static double height;

/* Flow along x at (x, y) at the height of the torque 8πη e_y itself (Blake & Chwang 1974). */
static double along_channel(double x, void *y)
{
    const nrw_vec3 at = {x, *(double *)y, height};
    return nrw_rotlet_floor_um_s((nrw_vec3){0.0, 1.0, 0.0}, height, at, 1.0 / (8.0 * NRW_PI)).x;
}

/* The same by a line of such torques along x, y to the side of it. */
static double by_line(double y, void *workspace)
{
    gsl_function f = {along_channel, &y};
    double sum, error;
    gsl_integration_qagi(&f, 0.0, 1e-8, 1000, workspace, &sum, &error);
    return sum;
}

/* ... and by lines side by side from y = 0 to `to`. */
static double by_strip(double to)
{
    gsl_integration_workspace *inner = gsl_integration_workspace_alloc(1000);
    gsl_integration_workspace *outer = gsl_integration_workspace_alloc(1000);
    gsl_function f = {by_line, inner};
    double sum, error;
    gsl_integration_qag(&f, 0.0, to, 0.0, 1e-7, 1000, GSL_INTEG_GAUSS31, outer, &sum, &error);
    gsl_integration_workspace_free(inner);
    gsl_integration_workspace_free(outer);
    return sum;
}

/* A flow along x that doesn't change along x is harmonic across: its images in the side
 * walls are exact, whole strips of rollers that turn the other way round, then again as
 * the first, and so on. */
static double share_by_images(double near, double far)
{
    const double width = near + far;
    double sum = 0.0, free = 0.0;
    for (int n = -24; n <= 24; n++) {
        const double strip = by_strip((double)n * width + far) - by_strip((double)n * width - near);
        /* half of the last stands for the alternating rest */
        sum += (n % 2 ? -1.0 : 1.0) * (abs(n) == 24 ? 0.5 : 1.0) * strip;
        free += n == 0 ? strip : 0.0;
    }
    return sum / free;
}

Test(screen, share_is_that_of_the_rollers_images_in_both_walls)
{
    static const double cases[][3] = {/* near, far, height, µm */
                                      {7.25, 7.25, 1.6},
                                      {2.0, 12.5, 1.6},
                                      {7.25, 7.25, 5.0},
                                      {4.0, 20.0, 3.0}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        height = cases[k][2];
        const double images = share_by_images(cases[k][0], cases[k][1]);
        const double share = nrw_screen_share(cases[k][0], cases[k][1], height);
        /* strips fall as 1/n³ or faster, and the halved last leaves their next difference */
        cr_assert_float_eq(share, images, 2e-4, "case %zu: %g against %g", k, share, images);
    }
}

Test(screen, share_rises_from_none_at_a_wall_to_all_far_from_both)
{
    double last = 0.0;
    for (double near = 0.01; near < 1e4; near *= 1.3) {
        const double share = nrw_screen_share(near, near, 1.6);
        cr_assert(share > last && share < 1.0, "%g: %g", near, share);
        last = share;
    }
    cr_assert_gt(last, 0.999);
    cr_assert_eq(nrw_screen_share(0.0, 10.0, 1.6), 0.0);
    cr_assert_eq(nrw_screen_share(INFINITY, INFINITY, 1.6), 1.0);
    /* one wall alone */
    cr_assert_float_eq(nrw_screen_share(3.2, INFINITY, 1.6), 2.0 / 3.0, 1e-12);
    cr_assert_float_eq(nrw_screen_share(3.2, 1e6, 1.6), 2.0 / 3.0, 1e-5);
}

/* --- against the whole flow of one roller ---------------------------------------------- */

Test(screen, one_roller_ahead_of_another_loses_about_that_share)
{
    /* h = 1.6 µm in a channel of 14.5 µm, as in the demo's throat; up to 0.8 widths ahead,
     * where four fifths of the force that neighbours exert by flow comes from */
    duct_flow *flow = duct_flow_create(1, 0.11);
    const double share = nrw_screen_share(0.5, 0.5, 0.11);
    for (double x = 0.1; x < 0.81; x += 0.1) {
        const nrw_vec3 at = {x, 0.0, 0.11};
        const double exact = duct_flow_at(flow, at).x / duct_flow_free_at(flow, at).x;
        cr_assert_float_eq(share, exact, 0.13, "%g ahead: %g, exact %g", x, share, exact);
    }
    /* the reference itself: no slip on the wall, against the free flow there */
    double slip = 0.0, free_slip = 0.0;
    for (double x = 0.05; x < 2.0; x += 0.17)
        for (double z = 0.05; z < 1.5; z += 0.17) {
            const nrw_vec3 at = {x, 0.5, z};
            slip = fmax(slip, nrw_vec3_norm(duct_flow_at(flow, at)));
            free_slip = fmax(free_slip, nrw_vec3_norm(duct_flow_free_at(flow, at)));
        }
    cr_assert_leq(slip, 0.02 * free_slip, "%g of %g", slip, free_slip);
    duct_flow_destroy(flow);
}

Test(screen, rollers_that_spin_upright_lose_more_far_apart)
{
    /* what the law leaves out: the flow about upright axes ends within a width */
    duct_flow *flow = duct_flow_create(2, 0.11);
    const nrw_vec3 near = {0.2, 0.0, 0.11}, far = {0.8, 0.0, 0.11};
    cr_assert_gt(duct_flow_at(flow, near).y / duct_flow_free_at(flow, near).y, 0.95);
    cr_assert_lt(duct_flow_at(flow, far).y / duct_flow_free_at(flow, far).y, 0.2);
    duct_flow_destroy(flow);
}

/* --- in the stepping --------------------------------------------------------------------- */

Test(screen, kernels_agree_with_the_law)
{
    enum { N = 48 };
    static _Alignas(64) float near[N], far[N], z[N], share[N];
    for (int i = 0; i < N; i++) {
        near[i] = 0.05f * powf(1.25f, (float)i);
        far[i] = near[i] * (1.0f + 0.3f * (float)(i % 7));
        z[i] = 1.55f + 0.5f * (float)(i % 11);
    }
    const nrw_kernels *tables[NRW_KERNEL_LEVELS];
    const size_t n = nrw_kernels_all(tables);
    for (size_t k = 0; k < n; k++) {
        nrw_rows_task task;
        memset(&task, 0, sizeof task);
        task.n_rows = N;
        task.pz = z;
        task.wall_near = near;
        task.wall_far = far;
        task.share_out = share;
        tables[k]->screen(&task);
        for (int i = 0; i < N; i++)
            /* sine 4e-6; the difference of exponentials 1e-7 of 1/(width/height) */
            cr_assert_float_eq((double)share[i],
                               nrw_screen_share((double)near[i], (double)far[i], (double)z[i]),
                               2e-4, "%s: %d", tables[k]->name, i);
    }
}

static small_setup channel_of(double width_um, bool screening)
{
    char yaml[1200];
    (void)snprintf(yaml, sizeof yaml,
                   "format: narrows-scenario/1\n"
                   "title: rollers in a straight channel\n"
                   "fluid: {medium: water, temperature_C: 25}\n"
                   "particles:\n"
                   "  positions_um: [[0, 0], [4, 0.5], [8, -0.5], [4, 4.5], [0, -4]]\n"
                   "  diameter_um: 3.0\n"
                   "  density_kg_m3: 1800\n"
                   "  magnetics: {kind: induced, susceptibility: 0.30,\n"
                   "              relaxation_time_s: 1.03e-5}\n"
                   "channel:\n"
                   "  depth_um: 60\n"
                   "  nodes: {west: {at_um: [-200, 0]}, east: {at_um: [200, 0]}}\n"
                   "  vessels: [{from: west, to: east, width_um: %g}]\n"
                   "target: {node: east, radius_um: 3}\n"
                   "deadline_s: 100\n"
                   "model: {brownian: false, wall_screening: %s}\n",
                   width_um, screening ? "true" : "false");
    return small_setup_of(yaml);
}

Test(screen, every_particle_gets_the_share_of_its_place)
{
    small_setup setup = channel_of(14.5, true);
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    for (int step = 0; step < 40; step++) {
        double near[5], far[5], z[5];
        for (size_t i = 0; i < world->n; i++) {
            near[i] = 7.25 - fabs(world->y[i]);
            far[i] = 7.25 + fabs(world->y[i]);
            z[i] = world->z[i];
        }
        small_advance(world, &excitation, 0.016, 0.016);
        for (size_t i = 0; i < world->n; i++)
            /* the distance grid and what a particle may move before it looks again */
            cr_assert_float_eq((double)world->share[world->contacts.row_of[i]],
                               nrw_screen_share(near[i], far[i], z[i]), 0.02);
    }
    nrw_world_destroy(world);
    small_setup_clear(&setup);
}

/* Mean speed of the five along the channel over 0.2 s. */
static double speed_in(double width_um, bool screening)
{
    small_setup setup = channel_of(width_um, screening);
    nrw_world *world = small_world(&setup, false);
    const nrw_field field = small_rotating(10.0, 50.0, 30.0);
    const nrw_excitation excitation = small_excitation(world, &field);
    double before = 0.0, after = 0.0;
    for (size_t i = 0; i < world->n; i++)
        before += world->x[i];
    small_advance(world, &excitation, 0.2, 0.016);
    for (size_t i = 0; i < world->n; i++)
        after += world->x[i];
    nrw_world_destroy(world);
    small_setup_clear(&setup);
    return (after - before) / 5.0 / 0.2;
}

Test(screen, side_walls_slow_the_swarm_and_the_switch_takes_them_out)
{
    const double wide = speed_in(1000.0, true), free = speed_in(1000.0, false);
    const double narrow = speed_in(14.5, true), unscreened = speed_in(14.5, false);
    cr_assert_gt(free, 1.0);
    cr_assert_float_eq(wide, free, 0.01 * free);
    cr_assert_float_eq(unscreened, free, 1e-3 * free);
    cr_assert(narrow < 0.9 * free && narrow > 0.5 * free, "%g of %g", narrow, free);
}

Test(screen, a_run_tells_what_the_walls_left)
{
    double shares[2];
    for (int k = 0; k < 2; k++) {
        small_setup setup = channel_of(14.5, k == 0);
        nrw_leg leg = nrw_leg_defaults();
        leg.drive.main.field_mT = 10.0;
        leg.drive.main.frequency_Hz = 50.0;
        leg.drive.main.tilt_deg = 30.0;
        leg.timeout_s = 1.0;
        nrw_schedule schedule = {.legs = &leg, .n_legs = 1};
        const nrw_run_config config = nrw_run_config_defaults();
        nrw_run_result result;
        nrw_errors errors;
        nrw_errors_init(&errors);
        cr_assert_eq(nrw_run(setup.scenario, setup.channel, &schedule, &config, &result, &errors),
                     NRW_OK);
        shares[k] = result.visits[0].tally.pair_flow_share;
        nrw_run_result_clear(&result);
        nrw_errors_clear(&errors);
        small_setup_clear(&setup);
    }
    cr_assert(shares[0] > 0.4 && shares[0] < 0.9, "%g", shares[0]);
    cr_assert(isnan(shares[1]));
}
