#include "flow_shear.h"

#include <math.h>

/* Least squares over a/h; the first terms are the reflections 9/16 x and -3/16 x³
 * of Goldman, Cox & Brenner. */
double nrw_shear_force(double delta)
{
    double x = 1.0 / (1.0 + fmax(delta, 0.0));
    return 1.0 +
           x * (9.0 / 16.0 + x * (0.321357944 +
                                  x * (-0.310274523 +
                                       x * (0.144433615 + x * (-0.001920298 + x * -0.015487830)))));
}

double nrw_shear_torque(double delta)
{
    double x = 1.0 / (1.0 + fmax(delta, 0.0)), x3 = x * x * x;
    double rest = 0.0895575061 + x * (0.1883754258 + x * (-0.1752162871 + x * x * 0.0287835280));
    return 1.0 + x3 * (-3.0 / 16.0 + x * rest);
}

/* Force and torque of the flow on the held sphere, answered by the mobilities:
 * U = mt F/6πηa + rolling a (mr T/8πηa³) and, by reciprocity, the same coupling in
 * the spin. */
nrw_shear_motion nrw_shear_motion_of(double delta, double mt, double mr, double rolling)
{
    double force = nrw_shear_force(delta), torque = nrw_shear_torque(delta);
    double h = 1.0 + fmax(delta, 0.0), coupling = rolling * mr;
    return (nrw_shear_motion){mt * force + 0.5 * coupling * torque / h,
                              mr * torque + 1.5 * coupling * h * force};
}
