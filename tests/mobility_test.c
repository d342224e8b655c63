/* Floor mobility and singularities: the exact solution against high precision,
 * the table against the exact solution, flows against their defining equations. */
#include <criterion/criterion.h>
#include <math.h>
#include <pthread.h>

#include "mobility.h"
#include "random.h"
#include "vec3.h"

static const double unit_eta = 1.0 / (8.0 * NRW_PI);

/* The same difference equations solved with 40 digits, the torque on a
 * translating sphere from its own sequence instead of reciprocity. */
Test(mobility, exact_resistances_match_high_precision)
{
    static const double rows[][5] = {
        /* delta, Ft, Tt, Fr, Tr */
        {6.2e-5, 6.12155682501, 0.7759944261072, 1.03465923481, 4.246581288014},
        {1e-4, 5.866675390167, 0.728249771639, 0.9709996955187, 4.055549051365},
        {3.202e-3, 4.0222628826147, 0.38493388013986, 0.51324517351981, 2.6792993439584},
        {1e-2, 3.422532966366, 0.2765174026634, 0.3686898702179, 2.240797649368},
        {0.3, 1.785578082143, 0.03229506008564, 0.04306008011419, 1.1925057671},
        {1, 1.3827523824112, 0.005024711229088, 0.0066996149721173, 1.0417835548066},
        {3, 1.16195608207, 0.0003318077201772, 0.0004424102935696, 1.004921549672},
        {9, 1.0594825555256, 9.0119714614181e-6, 1.2015961948557e-5, 1.0003126564737},
        {30, 1.018476339895, 1.002665097119e-7, 1.336886796158e-7, 1.000010489921},
        {99, 1.005656694976, 9.3396546581669e-10, 1.2452872877556e-9, 1.0000003125002},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        nrw_floor_resistance r = nrw_floor_resistance_exact(rows[i][0]);
        const double got[4] = {r.Ft, r.Tt, r.Fr, r.Tr};
        /* Cancellation leaves about 1e-9 of the couplings far from the floor. */
        for (int k = 0; k < 4; k++)
            cr_assert_float_eq(got[k] / rows[i][k + 1], 1, 1e-8, "delta %g, %d: %.12g", rows[i][0],
                               k, got[k]);
    }
}

/* Cox & Brenner 1967 and Goldman, Cox & Brenner 1967: the constants have four
 * digits, the next terms are δ ln δ. */
Test(mobility, exact_resistances_tend_to_lubrication)
{
    nrw_floor_resistance e = nrw_floor_resistance_exact(1e-4);
    nrw_floor_resistance l = nrw_floor_resistance_lubrication(1e-4);
    cr_assert_float_eq(e.Fz / l.Fz, 1, 1e-6);
    cr_assert_float_eq(e.Tz / l.Tz, 1, 1e-6);
    cr_assert_float_eq(e.Ft, l.Ft, 6e-3);
    cr_assert_float_eq(e.Tr, l.Tr, 1.2e-2);
    cr_assert_float_eq(e.Tt, l.Tt, 4e-3);
}

/* The error of the series falls as the next power of a/h. */
Test(mobility, exact_mobilities_tend_to_the_far_series)
{
    double before[5] = {0};
    for (int step = 0; step < 3; step++) {
        double delta = 10.0 * (1 << step) - 1;
        nrw_floor_mobility e = nrw_floor_mobility_exact(delta), f = nrw_floor_mobility_far(delta);
        const double errors[5] = {fabs(e.mt - f.mt), fabs(e.mz - f.mz), fabs(e.mr - f.mr),
                                  fabs(e.ms - f.ms), fabs(e.rolling - f.rolling)};
        /* at least x⁴ for mz, x⁵ and more for the rest: halving x gains 2⁴ */
        for (int k = 0; k < 5 && step > 0; k++)
            cr_assert(errors[k] < before[k] / 12 || errors[k] < 1e-12, "%d at %g: %g after %g", k,
                      delta, errors[k], before[k]);
        for (int k = 0; k < 5; k++)
            before[k] = errors[k];
    }
}

Test(mobility, drag_always_dissipates_and_falls_with_height)
{
    nrw_floor_mobility last = {0, 0, 0, 0, 1, 0};
    for (double ln = log(7e-5); ln < log(3e3); ln += 0.05) {
        nrw_floor_resistance r = nrw_floor_resistance_exact(exp(ln));
        cr_assert_gt(r.Ft * r.Tr, r.Fr * r.Tt, "delta %g", exp(ln));
        nrw_floor_mobility m = nrw_floor_mobility_at(nrw_floor_table_get(), exp(ln));
        /* single precision may leave the last digit where the curve is flat */
        const double slack = 2e-7;
        cr_assert(m.mt > last.mt - slack && m.mt <= 1 + slack);
        cr_assert(m.mz > last.mz - slack && m.mz <= 1 + slack);
        cr_assert(m.mr > last.mr - slack && m.mr <= 1 + slack);
        cr_assert(m.ms > last.ms - slack && m.ms <= 1 + slack);
        cr_assert(m.rolling < last.rolling && m.rolling > 0);
        cr_assert_gt(m.dmz, 0);
        last = m;
    }
}

static void assert_mobility(nrw_floor_mobility got, nrw_floor_mobility want, double relative,
                            double delta)
{
    const double a[6] = {got.mt, got.mz, got.mr, got.ms, got.rolling, got.dmz};
    const double b[6] = {want.mt, want.mz, want.mr, want.ms, want.rolling, want.dmz};
    for (int k = 0; k < 6; k++)
        cr_assert(fabs(a[k] - b[k]) <= relative * fabs(b[k]), "delta %g, %d: %.9g for %.9g", delta,
                  k, a[k], b[k]);
}

Test(mobility, table_is_within_its_stated_error)
{
    for (uint32_t i = 0; i < 2000; i++) {
        double u = nrw_uniform(1, NRW_STREAM_START, i, 0);
        double delta = 6.2e-5 * pow(200.0 / 6.2e-5, u);
        /* 5e-6 for rolling in the cell's steepest place, 1e-6 for the rest */
        assert_mobility(nrw_floor_mobility_at(nrw_floor_table_get(), delta),
                        nrw_floor_mobility_exact(delta), 1e-5, delta);
    }
}

Test(mobility, table_joins_the_series_at_both_ends)
{
    const nrw_floor_table *table = nrw_floor_table_get();
    const double ends[] = {0x1p-14, 0x1p7};
    for (int i = 0; i < 2; i++)
        assert_mobility(nrw_floor_mobility_at(table, ends[i] * (1 - 1e-6)),
                        nrw_floor_mobility_at(table, ends[i] * (1 + 1e-6)), i ? 1e-4 : 1e-5,
                        ends[i]); /* far: rolling lacks x² terms, 6e-5 */
}

/* At 2e-5 the exact series still converges in 5000 terms. */
Test(mobility, below_the_table_the_normal_mobility_stays_exact)
{
    double delta = 2e-5;
    nrw_floor_mobility m = nrw_floor_mobility_at(nrw_floor_table_get(), delta);
    cr_assert_float_eq(m.mz * nrw_floor_perpendicular_exact(1 + delta), 1, 1e-6);
    cr_assert_float_eq(m.ms * nrw_floor_spin_exact(1 + delta), 1, 1e-6);
}

Test(mobility, contact_and_overlap_stay_finite)
{
    const nrw_floor_table *table = nrw_floor_table_get();
    nrw_floor_mobility contact = nrw_floor_mobility_at(table, 1e-9);
    const double odd[] = {0, -0.0, -0.03, 1e-30, -INFINITY};
    for (int i = 0; i < 5; i++)
        assert_mobility(nrw_floor_mobility_at(table, odd[i]), contact, 0, odd[i]);
    cr_assert(contact.mz > 0 && contact.mz < 1e-8);
    assert_mobility(nrw_floor_mobility_at(table, INFINITY), (nrw_floor_mobility){1, 1, 1, 1, 0, 0},
                    0, INFINITY);
    cr_assert(isnan(nrw_floor_mobility_at(table, NAN).mt), "NaN must not turn into a number");
}

Test(mobility, array_gives_the_same_as_one_by_one)
{
    enum { COUNT = 1003 };
    static float delta[COUNT], out[6][COUNT];
    for (uint32_t i = 0; i < COUNT; i++)
        delta[i] = (float)(1e-6 * pow(1e9, nrw_uniform(2, NRW_STREAM_START, i, 0)));
    delta[17] = -0.5f;
    nrw_floor_mobility_array(nrw_floor_table_get(), COUNT, delta, out[0], out[1], out[2], out[3],
                             out[4], out[5]);
    for (size_t i = 0; i < COUNT; i++) {
        nrw_floor_mobility m = nrw_floor_mobility_at(nrw_floor_table_get(), (double)delta[i]);
        nrw_floor_mobility got = {(double)out[0][i], (double)out[1][i], (double)out[2][i],
                                  (double)out[3][i], (double)out[4][i], (double)out[5][i]};
        assert_mobility(got, m, 6e-8, (double)delta[i]); /* rounding to float */
    }
}

/* The Brownian drift term needs dmz to be the slope of mz. */
Test(mobility, slope_of_the_table_is_the_slope_of_its_values)
{
    const nrw_floor_table *table = nrw_floor_table_get();
    for (double delta = 1e-4; delta < 100; delta *= 1.37) {
        double step = 0.03 * delta; /* wide enough against single precision */
        double rise = nrw_floor_mobility_at(table, delta + step).mz -
                      nrw_floor_mobility_at(table, delta - step).mz;
        cr_assert_float_eq(rise / (2 * step) / nrw_floor_mobility_at(table, delta).dmz, 1, 2e-3,
                           "delta %g", delta);
    }
}

static void *get_table(void *unused)
{
    (void)unused;
    return (void *)nrw_floor_table_get();
}

Test(mobility, threads_get_the_same_table)
{
    pthread_t threads[4];
    for (int i = 0; i < 4; i++)
        cr_assert_eq(pthread_create(&threads[i], NULL, get_table, NULL), 0);
    for (int i = 0; i < 4; i++) {
        void *table;
        pthread_join(threads[i], &table);
        cr_assert_eq(table, (const void *)nrw_floor_table_get());
    }
}

/* --- flows --------------------------------------------------------------- */

static const nrw_vec3 general_torque = {0.7, -1.1, 0.4};

static nrw_vec3 rotlet(nrw_vec3 at)
{
    return nrw_rotlet_floor_um_s(general_torque, 1.3, at, unit_eta);
}

static nrw_vec3 moved(nrw_vec3 at, int axis, double step)
{
    double v[3] = {at.x, at.y, at.z};
    v[axis] += step;
    return (nrw_vec3){v[0], v[1], v[2]};
}

static double component(nrw_vec3 v, int axis)
{
    return axis == 0 ? v.x : axis == 1 ? v.y : v.z;
}

static const nrw_vec3 places[] = {{0.9, -0.4, 0.7}, {-2, 1.5, 2.2}, {0.1, 0.2, 0.3}, {3, 3, 1.3}};

Test(mobility, flows_vanish_on_the_floor)
{
    for (int i = 0; i < 4; i++) {
        nrw_vec3 at = {places[i].x, places[i].y, 0};
        cr_assert_float_eq(nrw_vec3_norm(rotlet(at)), 0, 1e-15);
        double g[3][3];
        nrw_stokeslet_floor(1.3, at, g);
        for (int k = 0; k < 9; k++)
            cr_assert_float_eq(g[k / 3][k % 3], 0, 1e-14);
    }
}

Test(mobility, flows_keep_their_volume)
{
    const double e = 1e-4; /* central differences: error e² times third derivatives, about 1e-6 */
    for (int i = 0; i < 4; i++) {
        double divergence = 0, of_force[3] = {0};
        for (int k = 0; k < 3; k++) {
            nrw_vec3 ahead = moved(places[i], k, e), behind = moved(places[i], k, -e);
            double g[3][3], b[3][3];
            divergence += (component(rotlet(ahead), k) - component(rotlet(behind), k)) / (2 * e);
            nrw_stokeslet_floor(1.3, ahead, g);
            nrw_stokeslet_floor(1.3, behind, b);
            for (int j = 0; j < 3; j++)
                of_force[j] += (g[k][j] - b[k][j]) / (2 * e);
        }
        cr_assert_float_eq(divergence, 0, 1e-6);
        for (int j = 0; j < 3; j++)
            cr_assert_float_eq(of_force[j], 0, 1e-6);
    }
}

/* Lorentz: G(x, y) = G(y, x)ᵀ. */
Test(mobility, point_forces_are_reciprocal)
{
    double g[3][3], back[3][3];
    nrw_stokeslet_floor(0.8, (nrw_vec3){1.5, -0.6, 2.1}, g);
    nrw_stokeslet_floor(2.1, (nrw_vec3){-1.5, 0.6, 0.8}, back);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            cr_assert_float_eq(g[i][j], back[j][i], 1e-14);
}

/* A point torque is half the curl of point forces: u_i = ½ ε_kjl T_k ∂G_il/∂y_j,
 * y the place of the force. */
Test(mobility, point_torque_is_the_curl_of_point_forces)
{
    const double e = 1e-3, h = 1.3;
    const double torque[3] = {general_torque.x, general_torque.y, general_torque.z};
    for (int p = 0; p < 2; p++) {
        double slope[3][3][3]; /* j, i, l */
        for (int j = 0; j < 3; j++) {
            double ahead[3][3], behind[3][3];
            nrw_vec3 shift = moved((nrw_vec3){0, 0, 0}, j, e);
            nrw_vec3 a = {places[p].x - shift.x, places[p].y - shift.y, places[p].z};
            nrw_vec3 b = {places[p].x + shift.x, places[p].y + shift.y, places[p].z};
            nrw_stokeslet_floor(h + shift.z, a, ahead);
            nrw_stokeslet_floor(h - shift.z, b, behind);
            for (int k = 0; k < 9; k++)
                slope[j][k / 3][k % 3] = (ahead[k / 3][k % 3] - behind[k / 3][k % 3]) / (2 * e);
        }
        nrw_vec3 u = rotlet(places[p]);
        for (int i = 0; i < 3; i++) {
            double sum = 0;
            for (int k = 0; k < 3; k++) {
                int j = (k + 1) % 3, l = (k + 2) % 3;
                sum += 0.5 * torque[k] * (slope[j][i][l] - slope[l][i][j]);
            }
            cr_assert_float_eq(component(u, i), sum, 2e-5, "place %d: %g for %g", p,
                               component(u, i), sum);
        }
    }
}

/* Faxén 1922: the correction is a²/6 times the Laplacian of the whole flow. */
Test(mobility, faxen_correction_is_the_laplacian)
{
    const double a = 0.6, e = 2e-3;
    for (int i = 0; i < 4; i++) {
        nrw_vec3 at = places[i], u = rotlet(at), laplacian = {0, 0, 0};
        for (int k = 0; k < 3; k++) {
            nrw_vec3 sum = nrw_vec3_add(rotlet(moved(at, k, e)), rotlet(moved(at, k, -e)));
            sum = nrw_vec3_add(sum, nrw_vec3_scale(u, -2));
            laplacian = nrw_vec3_add(laplacian, nrw_vec3_scale(sum, 1 / (e * e)));
        }
        nrw_vec3 got = nrw_rotlet_floor_faxen_um_s(general_torque, 1.3, a, at, unit_eta);
        got = nrw_vec3_add(got, nrw_vec3_scale(u, -1));
        for (int k = 0; k < 3; k++)
            cr_assert_float_eq(component(got, k), a * a / 6 * component(laplacian, k), 1e-5);
    }
}

Test(mobility, high_above_the_floor_flows_are_unbounded_ones)
{
    const double h = 1e4;
    nrw_vec3 r = {1, -2, 0.5}, at = {r.x, r.y, h + r.z};
    nrw_vec3 floor = nrw_rotlet_floor_um_s(general_torque, h, at, unit_eta);
    nrw_vec3 free = nrw_rotlet_unbounded_um_s(general_torque, r, unit_eta);
    cr_assert_float_eq(floor.x, free.x, 1e-6);
    cr_assert_float_eq(floor.y, free.y, 1e-6);
    cr_assert_float_eq(floor.z, free.z, 1e-6);
    double g[3][3], f[3][3];
    nrw_stokeslet_floor(h, at, g);
    nrw_stokeslet_unbounded(r, f);
    for (int k = 0; k < 9; k++)
        cr_assert_float_eq(g[k / 3][k % 3], f[k / 3][k % 3], 3e-4); /* the image is 3/(2h) */
}

Test(mobility, spin_is_half_the_vorticity)
{
    const double e = 1e-4;
    nrw_vec3 at = {1.2, -0.5, 0.8}, slope[3];
    for (int k = 0; k < 3; k++) {
        nrw_vec3 a = nrw_rotlet_unbounded_um_s(general_torque, moved(at, k, e), unit_eta);
        nrw_vec3 b = nrw_rotlet_unbounded_um_s(general_torque, moved(at, k, -e), unit_eta);
        slope[k] = nrw_vec3_scale(nrw_vec3_add(a, nrw_vec3_scale(b, -1)), 1 / (2 * e));
    }
    nrw_vec3 spin = nrw_rotlet_unbounded_spin_rad_s(general_torque, at, unit_eta);
    cr_assert_float_eq(spin.x, 0.5 * (slope[1].z - slope[2].y), 1e-6);
    cr_assert_float_eq(spin.y, 0.5 * (slope[2].x - slope[0].z), 1e-6);
    cr_assert_float_eq(spin.z, 0.5 * (slope[0].y - slope[1].x), 1e-6);
}

Test(mobility, overlapping_spheres_join_the_pair_mobility_smoothly)
{
    double a[2], b[2];
    nrw_rpy_pair(2 - 1e-9, &a[0], &a[1]);
    nrw_rpy_pair(2 + 1e-9, &b[0], &b[1]);
    cr_assert_float_eq(a[0], b[0], 1e-8);
    cr_assert_float_eq(a[1], b[1], 1e-8);
    nrw_rpy_pair(1e-9, &a[0], &a[1]); /* one sphere */
    cr_assert_float_eq(a[0], 1, 1e-8);
    cr_assert_float_eq(a[1], 1, 1e-8);
}
