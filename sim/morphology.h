/* Morphology: what imaging sees of the swarm at one frame (docs/physics.md,
 * section 10; definitions in contract section 4). */
#ifndef NRW_MORPHOLOGY_H
#define NRW_MORPHOLOGY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "channel.h"

typedef struct nrw_morphology {
    double x_um, y_um;           /* centroid */
    double major_um, minor_um;   /* 4·sqrt of the eigenvalues of the second moments */
    double angle_deg;            /* of the major axis, -90...90 */
    double aspect_ratio;         /* major/minor */
    double spread_um;            /* twice the radius of gyration */
    double width_across_um;      /* 5-95 % extent across the route's direction at the centroid */
    double front_um, tail_um;    /* 95 % and 5 % positions along the route */
    double rear_x_um, rear_y_um; /* centroid of the rear 30 % along the route */
    double largest_cluster_fraction;
    double neighbour_distance_um; /* mean distance to the nearest neighbour */
    double visible_area_um2;      /* projected area of the largest cluster */
    bool visible;
} nrw_morphology;

/* Scratch memory of the measurement, sized for n particles. */
typedef struct nrw_morphology_work nrw_morphology_work;
nrw_morphology_work *nrw_morphology_work_create(size_t n_particles); /* NULL: no memory */
void nrw_morphology_work_destroy(nrw_morphology_work *work);

/* For runs that keep no frames: from now on the visible area is measured only when it
 * takes that to tell whether the swarm is visible, and is NAN otherwise. */
void nrw_morphology_work_spare_area(nrw_morphology_work *work);

/* Measures the particles at x, y, z (n) µm with radii (n) µm; n is at most what
 * the work was made for. Clusters join particles closer than 1.5 mean diameters
 * in three dimensions. With `in_largest` (n bytes, may be NULL) the members of
 * the largest cluster are marked 1; ties go to the cluster with the lowest
 * particle. Quantiles: linear interpolation of the sorted values (type 7).
 *
 * The ellipse and the spread are those of the centres (masses equal, divisor
 * n), in the plane. A line of particles has minor_um 0 and aspect_ratio
 * INFINITY (no value in results); particles at one place, a single one too,
 * have aspect_ratio 1 and angle 0. width_across_um: from the 5 % to the 95 %
 * quantile of the coordinate across the route's direction at the centroid's
 * projection. Rear: the ceil(0.3 n) particles lowest along the route, ties in
 * the order of particles. neighbour_distance_um: between centres, in three
 * dimensions; NAN for a single particle. visible_area_um2: area of the union of
 * the discs of the largest cluster seen from above, so stacked particles count
 * once; only computed when smallest_visible_um2 > 0, else NAN, and the swarm is
 * always visible.
 *
 * Without particles, or with a position that is not finite (or beyond 1e9 µm),
 * every figure is NAN, the fraction 0 and visible false.
 *
 * No errors, no allocation. Cost O(n), some 20 µs for 150 particles and 50
 * with the area. Thread safe with a work for each thread. */
void nrw_morphology_measure(nrw_morphology_work *work, const nrw_channel *channel, size_t n,
                            const double *x_um, const double *y_um, const double *z_um,
                            const double *radius_um, double smallest_visible_um2,
                            nrw_morphology *result, uint8_t *in_largest);

#endif
