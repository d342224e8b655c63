/* The exact resistance of two equal spheres that turn alike and pass each other, for
 * tests: series in 1/r of twin multipoles (Jeffrey & Onishi 1984, equations 4.2 to 5.8;
 * equal radii, so that their sums over q of p + q = k are all that is needed). */
#ifndef TESTS_TWO_SPHERES_H
#define TESTS_TWO_SPHERES_H

/* At centres r = (2 + gap) a, both turning at Ω about one axis across their line, moving
 * at U and −U across both. Force on each −6πηa (move U − turn aΩ), torque about its own
 * centre −8πηa³ (spin Ω − slide U/a). `spin` alone is Y^C_11 + Y^C_12, `move` Y^A_11 −
 * Y^A_12; by reciprocity turn = ⁴⁄₃ slide. Errors below 1e-4 for gaps from 1e-3. */
typedef struct two_spheres {
    double move, turn, spin, slide;
} two_spheres;

two_spheres two_spheres_of(double gap_over_radius);

/* Of a pair without forces and with the same torque on both: its spin over the free
 * one, and the turning of its line over the free spin. */
void two_spheres_free(double gap_over_radius, double *spin, double *orbit);

#endif
