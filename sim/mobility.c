#include "mobility.h"

#include <math.h>

#include "floor_mobility.h"

nrw_floor_mobility nrw_floor_mobility_of(const nrw_floor_resistance *r)
{
    /* Inverse of the 2 x 2 block of translation along and rotation about y. */
    return (nrw_floor_mobility){.mt = 1.0 / (r->Ft - r->Fr * r->Tt / r->Tr),
                                .mz = 1.0 / r->Fz,
                                .mr = 1.0 / (r->Tr - r->Tt * r->Fr / r->Ft),
                                .ms = 1.0 / r->Tz,
                                .rolling = r->Fr / r->Ft};
}

nrw_floor_mobility nrw_floor_mobility_exact(double delta)
{
    nrw_floor_resistance r = nrw_floor_resistance_exact(delta);
    nrw_floor_mobility m = nrw_floor_mobility_of(&r);
    double step = 1e-4 * delta;
    double above = nrw_floor_perpendicular_exact(1.0 + delta + step);
    double below = nrw_floor_perpendicular_exact(1.0 + delta - step);
    m.dmz = (1.0 / above - 1.0 / below) / (2.0 * step);
    return m;
}

nrw_floor_mobility nrw_floor_mobility_far(double delta)
{
    double x = 1.0 / (1.0 + delta), x2 = x * x, x3 = x2 * x;
    nrw_floor_mobility m;
    m.mt = 1.0 - 9.0 / 16 * x + x3 / 8 - 45.0 / 256 * x2 * x2 - x2 * x3 / 16;
    m.mz = 1.0 - 9.0 / 8 * x + x3 / 2 - x2 * x3 / 8;
    m.mr = 1.0 - 5.0 / 16 * x3;
    m.ms = 1.0 - x3 / 8;
    m.rolling = x2 * x2 / 8 * (1.0 - 15.0 / 16 * x);
    m.dmz = x2 * (9.0 / 8 - 3.0 / 2 * x2 + 5.0 / 8 * x2 * x2);
    return m;
}
