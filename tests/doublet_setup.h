/* Doublets in an open map, and a world of them stepped by hand under a field. */
#ifndef TESTS_DOUBLET_SETUP_H
#define TESTS_DOUBLET_SETUP_H

#include "doublet_world.h"
#include "small_setup.h"

/* n doublets at places at_um (n x 3; z NAN: at rest) in water at 25 °C, 3 µm across as
 * a sphere of the same volume, 1800 kg/m³, without noise and pair flow, which a test
 * switches on as it needs them. `floor` false: unbounded fluid, and no weight. The
 * magnetics and the shape are those of the file's text, e.g.
 * "magnetics: {kind: permanent, moment_fAm2: 30}" and
 * "{kind: doublet, aspect: 2, moment: along}". */
small_setup doublet_setup(size_t n, const double (*at_um)[3], bool floor, const char *magnetics,
                          const char *shape);

/* Steps for a time as a run would, at most h_s each (0: the run's own length), in the
 * field at its own phase; the test fails when a step does. Returns the mean spin about
 * `axis` (unit) of all particles, 1/s. */
double doublet_advance(nrw_world *world, const nrw_field *field, nrw_vec3 axis, double seconds,
                       double h_s);

/* A steady field. */
nrw_field doublet_steady(double x_mT, double y_mT, double z_mT);

#endif
