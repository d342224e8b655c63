#include "spheroid.h"

#include <math.h>

#include "units.h"

/* With z = 1 - 1/p² (e² of a prolate spheroid, negative for an oblate one),
 * every figure is rational in
 *   h0 = Σ z^k/(2k+1) (= atanh e/e),  h1 = (h0 - 1)/z,  h2 = (h1 - ⅓)/z,
 * with the differences that vanish at the sphere already divided by z
 * (docs/physics.md, eq. 3.6). */
typedef struct shape {
    double z, h0, h1, h2;
} shape;

static shape shape_of(double aspect)
{
    shape s = {.z = (aspect - 1.0) * (aspect + 1.0) / (aspect * aspect)};
    if (fabs(s.z) < 0.25) {
        /* 28 terms: 0.25^28 < 1e-16. */
        for (int k = 28; k >= 0; k--)
            s.h2 = s.h2 * s.z + 1.0 / (2 * k + 5);
        s.h1 = 1.0 / 3 + s.z * s.h2;
        s.h0 = 1.0 + s.z * s.h1;
        return s;
    }
    double e = sqrt(fabs(s.z));
    /* atanh e = acosh p, in a form that keeps its digits for long rods. */
    s.h0 = s.z > 0 ? log(aspect * (1.0 + e)) / e : atan(e) / e;
    s.h1 = (s.h0 - 1.0) / s.z;
    s.h2 = (s.h1 - 1.0 / 3) / s.z;
    return s;
}

nrw_spheroid_friction nrw_spheroid_friction_of(double aspect)
{
    shape s = shape_of(aspect);
    double p23 = cbrt(aspect * aspect);
    return (nrw_spheroid_friction){.along = 4.0 / 3 * p23 / (s.h0 + s.h1),
                                   .across = 8.0 / 3 * p23 / (3.0 * s.h0 - s.h1),
                                   .spin = 2.0 / 3 / (s.h0 - s.h1),
                                   .tumble = 2.0 / 3 * (aspect * aspect + 1.0) / (s.h0 + s.h1)};
}

double nrw_spheroid_mean_friction(double aspect)
{
    nrw_spheroid_friction f = nrw_spheroid_friction_of(aspect);
    return 3.0 / (1.0 / f.along + 2.0 / f.across);
}

double nrw_spheroid_demagnetising(double aspect)
{
    shape s = shape_of(aspect);
    return (1.0 - s.z) * s.h1;
}

double nrw_spheroid_induced_torque(double aspect, double susceptibility, double angle_rad)
{
    shape s = shape_of(aspect);
    double along = (1.0 - s.z) * s.h1, across = 0.5 * (1.0 - along);
    double difference = 1.5 * s.z * (s.h1 - s.h2); /* across - along = (1 - 3 along)/2 */
    double chi = susceptibility;
    return 0.5 * chi * chi * difference / ((1.0 + chi * along) * (1.0 + chi * across)) *
           sin(2.0 * angle_rad);
}

double nrw_jeffery_period_s(double aspect, double shear_per_s)
{
    return 2.0 * NRW_PI * (aspect + 1.0 / aspect) / fabs(shear_per_s);
}

double nrw_rod_tumble_drag_pN_um_s(double length_um, double aspect, double viscosity_Pa_s)
{
    double end = -0.662 + 0.917 / aspect - 0.050 / (aspect * aspect);
    return NRW_PI * viscosity_Pa_s * length_um * length_um * length_um /
           (3.0 * (log(aspect) + end));
}
