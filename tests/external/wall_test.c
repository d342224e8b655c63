/* A sphere near a floor, and flows above it, against values of the world outside
 * (rows WAL-...). Lengths in µm; point singularities in units 1/(8πη). */
#include "external_row.h"

#include <gsl/gsl_integration.h>

#include "mobility.h"
#include "particle.h"
#include "vec3.h"

static const double unit_eta = 1.0 / (8.0 * NRW_PI);

/* Blake 1971, Proc. Camb. Phil. Soc. 70:303. */
Test(external_wall, point_force_above_a_floor)
{
    double g[3][3];
    nrw_stokeslet_floor(1, (nrw_vec3){2, 0, 1}, g);
    assert_row("WAL-01xx", g[0][0], 0.5138640879, 1e-9);
    assert_row("WAL-01xz", g[0][2], -0.1325825215, 1e-9);
    assert_row("WAL-01zz", g[2][2], -0.07452425971, 1e-9);
    nrw_stokeslet_floor(1, (nrw_vec3){0, 2, 1}, g);
    assert_row("WAL-01yy along x", g[0][0], 0.05805826176, 1e-9);
    nrw_stokeslet_floor(1, (nrw_vec3){1, 2, 0.5}, g);
    assert_row("WAL-02xx", g[0][0], 0.06692021833, 1e-9);
    assert_row("WAL-02zx", g[2][0], 0.01584347227, 1e-9);
    assert_row("WAL-02xz", g[0][2], -0.04774779693, 1e-9);
    assert_row("WAL-02zz", g[2][2], -0.0258985668, 1e-9);
    nrw_stokeslet_floor(1, (nrw_vec3){100, 0, 1}, g);
    /* what is left of two terms near 0.01 each: 1e-5 of them, so 1e-9 still holds */
    assert_row("WAL-04", g[0][0], 1.19916052e-05, 1e-9);
}

/* Flow through the plane x = ahead above the floor: ∫∫ u_x dy dz in polar
 * coordinates about the foot, the radius mapped from (0, 1). */
static double flux(double (*u_x)(double x, double y, double z), double ahead)
{
    gsl_integration_glfixed_table *rule = gsl_integration_glfixed_table_alloc(200);
    double sum = 0;
    for (size_t i = 0; i < 200; i++) {
        double angle, weight_angle;
        gsl_integration_glfixed_point(0, NRW_PI, i, &angle, &weight_angle, rule);
        for (size_t j = 0; j < 200; j++) {
            double t, weight;
            gsl_integration_glfixed_point(0, 1, j, &t, &weight, rule);
            double r = t / (1 - t), area = r / ((1 - t) * (1 - t));
            sum += weight * weight_angle * area * u_x(ahead, r * cos(angle), r * sin(angle));
        }
    }
    gsl_integration_glfixed_table_free(rule);
    return sum;
}

static const double eta = 8.9e-4;

static double force_u_x(double x, double y, double z)
{
    double g[3][3];
    nrw_stokeslet_floor(2, (nrw_vec3){x, y, z}, g); /* 1 pN at 2 µm */
    return g[0][0] / (8 * NRW_PI * eta);
}

static double torque_u_x(double x, double y, double z)
{
    nrw_vec3 torque = {0, 10, 0};
    return nrw_rotlet_floor_um_s(torque, 2, (nrw_vec3){x, y, z}, eta).x;
}

/* Liron 1978, J. Fluid Mech. 86:705 (from memory); WAL-07: half its derivative by
 * height, independent of the height. */
Test(external_wall, net_flow_of_force_and_torque)
{
    assert_row("WAL-05", 1e-18 * flux(force_u_x, 3), 7.15303115e-16, 1e-3);
    assert_row("WAL-07", 1e-18 * flux(torque_u_x, 3), 1.788257788e-15, 1e-3);
}

/* Blake & Chwang 1974, J. Eng. Math. 8:23; torque +y, h = 1. */
Test(external_wall, point_torque_above_a_floor)
{
    nrw_vec3 torque = {0, 1, 0};
    nrw_vec3 a = nrw_rotlet_floor_um_s(torque, 1, (nrw_vec3){2, 0, 1}, unit_eta);
    nrw_vec3 b = nrw_rotlet_floor_um_s(torque, 1, (nrw_vec3){0, 2, 1}, unit_eta);
    nrw_vec3 c = nrw_rotlet_floor_um_s(torque, 1, (nrw_vec3){2, 0, 2}, unit_eta);
    nrw_vec3 d = nrw_rotlet_floor_um_s(torque, 1, (nrw_vec3){1, -0.7, 0.4}, unit_eta);
    assert_row("WAL-06ax", a.x, 0.1325825215, 1e-9);
    assert_row("WAL-06az", a.z, -0.02902913088, 1e-9);
    assert_row_near("WAL-06bx", b.x, 0, 1e-12);
    assert_row_near("WAL-06by", b.y, 0, 1e-12);
    assert_row("WAL-06cx", c.x, 0.1468820885, 1e-9);
    assert_row_near("WAL-06cy", c.y, 0, 1e-12);
    assert_row("WAL-06cz", c.z, -0.01805520379, 1e-9);
    assert_row("WAL-06dy", d.y, -0.07599089229, 1e-9);
    assert_row("WAL-06dz", d.z, -0.08937879943, 1e-9);
}

typedef enum figure { FT, TT, FR, TR, FZ, TZ, ROLLING, MR } figure;

typedef struct floor_row {
    const char *id;
    figure which;
    double h_over_a, value;
} floor_row;

static double exact(const floor_row *row)
{
    nrw_floor_resistance r = nrw_floor_resistance_exact(row->h_over_a - 1);
    nrw_floor_mobility m = nrw_floor_mobility_exact(row->h_over_a - 1);
    const double figures[] = {r.Ft, r.Tt, r.Fr, r.Tr, r.Fz, r.Tz, m.rolling, m.mr};
    return figures[row->which];
}

/* Brenner 1961, Chem. Eng. Sci. 16:242; Maude 1961 (series from memory; h/a =
 * cosh 1 gives 3.0361 as in the table of 1961). */
static const floor_row perpendicular_rows[] = {
    {"WAL-08-1.005", FZ, 1.005004, 201.8730081},
    {"WAL-08-1.01", FZ, 1.01, 101.8961723},
    {"WAL-08-1.05", FZ, 1.05, 21.58582044},
    {"WAL-08-1.2", FZ, 1.2, 6.340886692},
    {"WAL-08-1.5", FZ, 1.5, 3.205390315},
    {"WAL-08-1.54308", FZ, 1.54308063, 3.03606438},
    {"WAL-08-3", FZ, 3, 1.569205394},
    {"WAL-08-5", FZ, 5, 1.285086563},
    {"WAL-08-10", FZ, 10, 1.126193684},
};

/* Definitions: Goldman, Cox & Brenner 1967, Chem. Eng. Sci. 22:637; values by the
 * exact representation of Dean & O'Neill 1963 and O'Neill 1964. */
static const floor_row parallel_rows[] = {
    {"WAL-10-1.0032-Ft", FT, 1.003202, 4.022262883},
    {"WAL-10-1.0032-Tt", TT, 1.003202, 0.3849338802},
    {"WAL-10-1.0032-Fr", FR, 1.003202, 0.5132451735},
    {"WAL-10-1.005-Ft", FT, 1.005004, 3.78630804},
    {"WAL-10-1.005-Fr", FR, 1.005004, 0.4558254575},
    {"WAL-10-1.005-Tr", TR, 1.005004, 2.505631992},
    {"WAL-10-1.01-Ft", FT, 1.01, 3.422532966},
    {"WAL-10-1.01-Tt", TT, 1.01, 0.2765174027},
    {"WAL-10-1.01-Fr", FR, 1.01, 0.3686898702},
    {"WAL-10-1.05-Ft", FT, 1.05, 2.598963279},
    {"WAL-10-1.05-Fr", FR, 1.05, 0.1839004544},
    {"WAL-10-1.05-Tr", TR, 1.05, 1.667461009},
    {"WAL-10-1.1-Ft", FT, 1.1, 2.264303035},
    {"WAL-10-1.1-Tt", TT, 1.1, 0.08876334417},
    {"WAL-10-1.1-Fr", FR, 1.1, 0.1183511256},
    {"WAL-10-1.2-Ft", FT, 1.2, 1.952707118},
    {"WAL-10-1.2-Fr", FR, 1.2, 0.0661835442},
    {"WAL-10-1.2-Tr", TR, 1.2, 1.276639175},
    {"WAL-10-1.5-Ft", FT, 1.5, 1.595706619},
    {"WAL-10-1.5-Tt", TT, 1.5, 0.0165739619},
    {"WAL-10-1.5-Fr", FR, 1.5, 0.02209861587},
    {"WAL-10-1.54308-Ft", FT, 1.54308063, 1.567459425},
    {"WAL-10-1.54308-Fr", FR, 1.54308063, 0.01953248069},
    {"WAL-10-1.54308-Tr", TR, 1.54308063, 1.099803215},
    {"WAL-10-2-Ft", FT, 2, 1.382752382},
    {"WAL-10-2-Tt", TT, 2, 0.005024711229},
    {"WAL-10-2-Fr", FR, 2, 0.006699614972},
    {"WAL-10-3-Ft", FT, 3, 1.22715511},
    {"WAL-10-3-Fr", FR, 3, 0.001360302058},
    {"WAL-10-3-Tr", TR, 3, 1.011795785},
    {"WAL-10-5-Ft", FT, 5, 1.125861065},
    {"WAL-10-5-Tt", TT, 5, 0.0001385021925},
    {"WAL-10-5-Fr", FR, 5, 0.0001846695899},
    {"WAL-10-10-Ft", FT, 10, 1.059482556},
    {"WAL-10-10-Fr", FR, 10, 1.201596189e-05},
    {"WAL-10-10-Tr", TR, 10, 1.000312656},
    {"WAL-11-1.0032", ROLLING, 1.003202, 0.1276011013},
    {"WAL-11-1.005", ROLLING, 1.005004, 0.1203878429},
    {"WAL-11-1.01", ROLLING, 1.01, 0.1077242714},
    {"WAL-11-1.05", ROLLING, 1.05, 0.07075915844},
    {"WAL-11-1.1", ROLLING, 1.1, 0.05226823606},
    {"WAL-11-1.2", ROLLING, 1.2, 0.03389322628},
    {"WAL-11-1.5", ROLLING, 1.5, 0.01384879627},
    {"WAL-11-1.54308", ROLLING, 1.54308063, 0.01246123528},
    {"WAL-11-2", ROLLING, 2, 0.004845129943},
    {"WAL-11-3", ROLLING, 3, 0.001108500504},
    {"WAL-11-5", ROLLING, 5, 0.0001640252032},
    {"WAL-11-10", ROLLING, 10, 1.134134944e-05},
    {"WAL-12-1.0032", MR, 1.003202, 0.3802019193},
    {"WAL-12-1.01", MR, 1.01, 0.452281986},
    {"WAL-12-1.1", MR, 1.1, 0.6895544943},
    {"WAL-12-1.5", MR, 1.5, 0.9006850903},
    {"WAL-12-2", MR, 2, 0.9599147202},
    {"WAL-12-5", MR, 5, 0.9974962225},
};

/* Jeffery 1915, Proc. Lond. Math. Soc. 14:327 (from memory). */
static const floor_row spin_rows[] = {
    {"WAL-16-1.01", TZ, 1.01, 1.1832439},
    {"WAL-16-1.1", TZ, 1.1, 1.117064753},
    {"WAL-16-2", TZ, 2, 1.015927102},
    {"WAL-16-5", TZ, 5, 1.001001032},
};

#define COUNT(rows) (sizeof(rows) / sizeof(rows)[0])

Test(external_wall, exact_resistances)
{
    for (size_t i = 0; i < COUNT(perpendicular_rows); i++)
        assert_row(perpendicular_rows[i].id, exact(&perpendicular_rows[i]),
                   perpendicular_rows[i].value, 1e-8); /* h/a has nine digits there */
    /* The rows' own reciprocity holds to 1e-8. */
    for (size_t i = 0; i < COUNT(parallel_rows); i++)
        assert_row(parallel_rows[i].id, exact(&parallel_rows[i]), parallel_rows[i].value, 2e-8);
    for (size_t i = 0; i < COUNT(spin_rows); i++)
        assert_row(spin_rows[i].id, exact(&spin_rows[i]), spin_rows[i].value, 1e-8);
    assert_row("WAL-17", nrw_floor_spin_exact(1), 1.202056903, 1e-9);
}

/* The same rows out of the table that stepping uses, within its stated error. */
Test(external_wall, table_of_mobilities)
{
    const nrw_floor_table *table = nrw_floor_table_get();
    for (size_t i = 0; i < COUNT(parallel_rows); i++) {
        const floor_row *row = &parallel_rows[i];
        nrw_floor_mobility m = nrw_floor_mobility_at(table, row->h_over_a - 1);
        if (row->which == ROLLING)
            assert_row(row->id, m.rolling, row->value, 1e-5);
        if (row->which == MR)
            assert_row(row->id, m.mr, row->value, 1e-5);
    }
    for (size_t i = 0; i < COUNT(perpendicular_rows); i++) {
        const floor_row *row = &perpendicular_rows[i];
        assert_row(row->id, 1 / nrw_floor_mobility_at(table, row->h_over_a - 1).mz, row->value,
                   1e-5);
    }
    for (size_t i = 0; i < COUNT(spin_rows); i++) {
        const floor_row *row = &spin_rows[i];
        assert_row(row->id, 1 / nrw_floor_mobility_at(table, row->h_over_a - 1).ms, row->value,
                   1e-5);
    }
}

/* Goldman, Cox & Brenner 1967; Cox & Brenner 1967 (constants from memory,
 * verified against the series). */
Test(external_wall, lubrication)
{
    nrw_floor_resistance r = nrw_floor_resistance_lubrication(0.003202);
    assert_row("WAL-13a", r.Ft, 4.022255821, 1e-6);
    assert_row("WAL-13b", r.Tr, 2.679291866, 1e-6);
    assert_row("WAL-13c", r.Tt, 0.3848979664, 1e-6);
    nrw_floor_resistance e = nrw_floor_resistance_exact(0.003202);
    assert_row("WAL-13a exact", e.Ft, 4.022255821, 2e-4);
    assert_row("WAL-13b exact", e.Tr, 2.679291866, 1e-3);
    assert_row("WAL-13c exact", e.Tt, 0.3848979664, 1e-3);
    assert_row("WAL-21", nrw_floor_resistance_lubrication(0.01).Fz, 101.892298, 1e-9);
    assert_row("WAL-21 exact", nrw_floor_perpendicular_exact(1.01), 101.892298, 4e-5);
}

/* Mean over two unit spheres, both centred at height h, of the image part of
 * Blake's tensor: what Faxén's operators on both ends make of it. */
static void mean_image(double h, double mean[3][3])
{
    enum { POLAR = 12, AROUND = 16, POINTS = POLAR * AROUND };
    static nrw_vec3 at[POINTS];
    static double weights[POINTS];
    gsl_integration_glfixed_table *rule = gsl_integration_glfixed_table_alloc(POLAR);
    for (size_t i = 0; i < POLAR; i++)
        for (size_t j = 0; j < AROUND; j++) {
            double c, w, angle = 2 * NRW_PI * (double)j / AROUND;
            gsl_integration_glfixed_point(-1, 1, i, &c, &w, rule);
            double s = sqrt(1 - c * c);
            at[AROUND * i + j] = (nrw_vec3){s * cos(angle), s * sin(angle), h + c};
            weights[AROUND * i + j] = 0.5 * w / AROUND;
        }
    gsl_integration_glfixed_table_free(rule);
    for (int k = 0; k < 9; k++)
        mean[k / 3][k % 3] = 0;
    for (size_t i = 0; i < POINTS; i++)
        for (size_t j = 0; j < POINTS; j++) {
            /* The second sphere is turned a little, so that no point meets its twin. */
            nrw_vec3 from = nrw_vec3_turn(at[j], 0.2);
            nrw_vec3 r = {at[i].x - from.x, at[i].y - from.y, at[i].z};
            double whole[3][3], direct[3][3];
            nrw_stokeslet_floor(from.z, r, whole);
            nrw_stokeslet_unbounded((nrw_vec3){r.x, r.y, r.z - from.z}, direct);
            for (int k = 0; k < 9; k++)
                mean[k / 3][k % 3] +=
                    weights[i] * weights[j] * (whole[k / 3][k % 3] - direct[k / 3][k % 3]);
        }
}

/* Swan & Brady 2007 (from memory): their self-mobilities follow from our image
 * system, and the far series keeps the same leading terms. */
Test(external_wall, far_from_the_floor)
{
    double mean[3][3];
    mean_image(2, mean);
    const double ratio = 6.0 / 8.0; /* 6πηa over 8πη, a = 1 */
    /* The quadrature converges exponentially; this many points leave 1e-9. */
    assert_row("WAL-14c", 1 + ratio * mean[2][2], 0.49609375, 1e-8);
    assert_row("WAL-14d", 1 + ratio * mean[0][0], 0.732421875, 1e-8);
    nrw_floor_mobility far = nrw_floor_mobility_far(1);
    assert_row("WAL-14c", far.mz, 0.49609375, ROUNDING);
    assert_row("WAL-15b", far.ms, 0.984375, ROUNDING);
    nrw_floor_resistance r = nrw_floor_resistance_exact(1);
    assert_row_near("WAL-19", 1 / r.Ft - far.mt, 0.001759735751, 1e-6);
}

/* Identity: image of a torque, taken over the sphere itself. The direct part is
 * odd about the centre: opposite points cancel it; what they add to the image
 * falls with the square of their distance and is extrapolated away. */
Test(external_wall, torque_moves_the_sphere_that_carries_it)
{
    nrw_vec3 torque = {0, 10, 0};
    double means[3];
    for (int i = 0; i < 3; i++) {
        double e = 0.02 * (1 << i);
        nrw_vec3 p = nrw_rotlet_floor_faxen_um_s(torque, 2, 1, (nrw_vec3){e, 0, 2}, eta);
        nrw_vec3 q = nrw_rotlet_floor_faxen_um_s(torque, 2, 1, (nrw_vec3){-e, 0, 2}, eta);
        means[i] = 0.5 * (p.x + q.x);
    }
    double once[2] = {(4 * means[0] - means[1]) / 3, (4 * means[1] - means[2]) / 3};
    /* The next order is (0.02/4)⁶. */
    assert_row("WAL-20", 1e-6 * (16 * once[0] - once[1]) / 15, 3.492690991e-06, 1e-9);
}
