#include "state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define D 3.0

/* One cluster that rolls: the features that the claims below change. */
static nrw_state_features rolling(void)
{
    return (nrw_state_features){.cohesion = 1.0,
                                .speed_um_s = 2.0,
                                .along_um_s = 2.0,
                                .turning_Hz = 0.02,
                                .aspect_ratio = 1.3,
                                .axis_deg = 10.0,
                                .stacking = 1.0,
                                .piece_aspect = 1.3,
                                .neighbour_um = 2.9};
}

static nrw_state state_of(nrw_state_features features)
{
    const nrw_state_limits limits = nrw_state_limits_defaults();
    return nrw_state_of(&features, &limits, D);
}

Test(state, of_one_cluster_is_told_by_travel_turning_height_and_shape)
{
    nrw_state_features f = rolling();
    cr_expect_eq(state_of(f), NRW_STATE_ROLLING);
    f.speed_um_s = 0.2; /* a tenth of a diameter a second is 0.3 */
    cr_expect_eq(state_of(f), NRW_STATE_VORTEX);
    f.turning_Hz = 0.001;
    cr_expect_eq(state_of(f), NRW_STATE_FROZEN);
    f = rolling();
    f.stacking = 2.0;
    cr_expect_eq(state_of(f), NRW_STATE_PLATE);
    f.aspect_ratio = 6.0;
    cr_expect_eq(state_of(f), NRW_STATE_PLATE, "a plate is a bar from above");
    f.stacking = 1.0;
    cr_expect_eq(state_of(f), NRW_STATE_FILE);
    f.axis_deg = 80.0;
    cr_expect_eq(state_of(f), NRW_STATE_RIBBON);
    f.axis_deg = 45.0;
    cr_expect_eq(state_of(f), NRW_STATE_UNCLASSIFIED);
    f.aspect_ratio = 2.5;
    cr_expect_eq(state_of(f), NRW_STATE_UNCLASSIFIED);
}

Test(state, of_many_pieces_is_told_by_the_pieces)
{
    nrw_state_features f = rolling();
    f.cohesion = 0.7;
    cr_expect_eq(state_of(f), NRW_STATE_TORN);
    f.cohesion = 0.3;
    cr_expect_eq(state_of(f), NRW_STATE_CLUMPS);
    f.piece_aspect = 4.0;
    cr_expect_eq(state_of(f), NRW_STATE_CHAINS);
    f.stacking = 3.0;
    cr_expect_eq(state_of(f), NRW_STATE_SHEETS);
    f.neighbour_um = 1.6 * D;
    cr_expect_eq(state_of(f), NRW_STATE_SCATTERED);
    f.neighbour_um = 1.4 * D;
    cr_expect_eq(state_of(f), NRW_STATE_UNCLASSIFIED);
}

Test(state, without_features_is_unclassified)
{
    nrw_state_features f;
    for (int k = 0; k < NRW_N_FEATURES; k++)
        *nrw_state_feature(&f, k) = NAN;
    cr_expect_eq(state_of(f), NRW_STATE_UNCLASSIFIED);
}

Test(state, features_have_names_of_their_own)
{
    nrw_state_features f;
    for (int a = 0; a < NRW_N_FEATURES; a++)
        for (int b = 0; b < a; b++) {
            cr_expect_str_neq(nrw_state_feature_name(a), nrw_state_feature_name(b));
            cr_expect_neq(nrw_state_feature(&f, a), nrw_state_feature(&f, b));
        }
    for (int a = 0; a < NRW_N_STATES; a++)
        for (int b = 0; b < a; b++)
            cr_expect_str_neq(nrw_state_name((nrw_state)a), nrw_state_name((nrw_state)b));
}

/* --- features of a made-up run ---------------------------------------------------- */

enum { N = 6, FRAMES = 21 };

/* A row of touching spheres along y that moves at `speed` along x and turns at
 * `turning_Hz` to the left, over 2 s at 10 Hz. */
static nrw_run_result moving_row(double speed, double turning_Hz)
{
    nrw_run_result run;
    memset(&run, 0, sizeof run);
    run.n_particles = N;
    run.radius_um = calloc(N, sizeof(double));
    run.n_frames = run.n_stored = FRAMES;
    run.frames = calloc(FRAMES, sizeof *run.frames);
    run.trajectory_time_s = calloc(FRAMES, sizeof(double));
    run.trajectory_um = calloc(FRAMES * N * 3, sizeof(float));
    for (size_t i = 0; i < N; i++)
        run.radius_um[i] = 0.5 * D;
    for (size_t k = 0; k < FRAMES; k++) {
        const double t = 0.1 * (double)k, angle = 2.0 * 3.14159265358979323846 * turning_Hz * t;
        nrw_frame *frame = &run.frames[k];
        frame->time_s = run.trajectory_time_s[k] = t;
        frame->seen.x_um = speed * t;
        frame->seen.largest_cluster_fraction = 0.5;
        frame->seen.aspect_ratio = 4.0;
        frame->seen.angle_deg = k % 2 ? 89.0 : -89.0; /* across x, on either side of the seam */
        frame->seen.visible_area_um2 = k < 11 ? 10.0 : 30.0;
        frame->seen.neighbour_distance_um = D;
        for (size_t i = 0; i < N; i++) {
            const double along = D * ((double)i - 0.5 * (N - 1));
            run.trajectory_um[(k * N + i) * 3] = (float)(speed * t - along * sin(angle));
            run.trajectory_um[(k * N + i) * 3 + 1] = (float)(along * cos(angle));
            run.trajectory_um[(k * N + i) * 3 + 2] = (float)(0.5 * D);
        }
    }
    return run;
}

static nrw_state_features features_of(nrw_run_result *run, double from_s, double to_s,
                                      double heading_rad)
{
    nrw_state_features f;
    cr_assert_eq(nrw_state_measure(run, from_s, to_s, heading_rad, 20.0, &f), NRW_OK);
    nrw_run_result_clear(run);
    return f;
}

Test(state, features_tell_the_motion_put_in)
{
    nrw_run_result run = moving_row(5.0, 0.05);
    const nrw_state_features f = features_of(&run, 0.0, 2.0, 0.0);
    cr_expect_float_eq(f.speed_um_s, 5.0, 1e-9);
    cr_expect_float_eq(f.along_um_s, 5.0, 1e-9);
    /* positions are stored in single precision: 1e-6 of 10 µm over a turn of 0.6 */
    cr_expect_float_eq(f.turning_Hz, 0.05, 1e-5);
    cr_expect_float_eq(f.cohesion, 0.5, 1e-12);
    cr_expect_float_eq(f.aspect_ratio, 4.0, 0.0);
    /* one frame more of one than of the other: 1/21 of a degree */
    cr_expect_float_eq(f.axis_deg, 90.0, 0.1, "an axis has no sign: 89 and -89 are across");
    cr_expect_float_eq(f.height_um, D, 1e-6);
}

Test(state, the_heading_is_the_frame)
{
    nrw_run_result run = moving_row(5.0, 0.0);
    const nrw_state_features f = features_of(&run, 0.0, 2.0, 3.14159265358979323846 / 2.0);
    cr_expect_float_eq(f.along_um_s, 0.0, 1e-9);
    cr_expect_float_eq(f.across_um_s, -5.0, 1e-9, "it moves to the right of a heading along y");
    cr_expect_float_eq(f.axis_deg, 0.0, 0.1);
}

Test(state, only_the_time_asked_for_counts)
{
    nrw_run_result run = moving_row(1.0, 0.0);
    const nrw_state_features f = features_of(&run, 1.1, 2.0, 0.0);
    cr_expect_float_eq(f.visible, 1.0, 0.0, "the silhouette is of the visible size from 1.1 s on");
    /* half the swarm shows 30 µm², all of it 60; its discs have 6 π 1.5² */
    cr_expect_float_eq(f.stacking, 6.0 * 3.14159265358979323846 * 2.25 / 60.0, 1e-9);
    run = moving_row(1.0, 0.0);
    const double unseen = features_of(&run, 5.0, 6.0, 0.0).cohesion;
    cr_expect(isnan(unseen), "nothing was seen then");
}

Test(state, a_row_of_six_is_a_long_piece_and_two_apart_are_round)
{
    nrw_run_result run = moving_row(0.0, 0.0);
    /* row of n spheres: variance d² (n² - 1)/12 along it, the discs' own r²/4 both ways */
    const double own = 2.25 / 4.0;
    const double expected = sqrt((9.0 * 35.0 / 12.0 + own) / own);
    const double row = features_of(&run, 0.0, 2.0, 0.0).piece_aspect;
    cr_expect_float_eq(row, expected, 1e-5, "%g", row);
    run = moving_row(0.0, 0.0);
    for (size_t k = 0; k < FRAMES * N; k++)
        run.trajectory_um[3 * k + 1] *= 10.0F;
    const double apart = features_of(&run, 0.0, 2.0, 0.0).piece_aspect;
    cr_expect_float_eq(apart, 1.0, 1e-9, "%g", apart);
}
