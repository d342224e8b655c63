/* What a flow does to spheres in it: the second half of flow.h. */
#include <math.h>

#include "flow.h"
#include "flow_shear.h"
#include "mobility.h"

/* How the nearer of floor and ceiling slows a sphere against the flow at its centre
 * and half the vorticity there. The floor's mobilities are at hand; the ceiling's are
 * looked up. */
static nrw_shear_motion motion_of(const nrw_flow_rows *rows, size_t row, double height,
                                  double depth)
{
    double radius = (double)rows->radius_um[row];
    double above = (depth - height - radius) / radius;
    if (above >= (double)rows->delta[row])
        return nrw_shear_motion_of((double)rows->delta[row], (double)rows->mt[row],
                                   (double)rows->mr[row], (double)rows->rolling[row]);
    nrw_floor_mobility at = nrw_floor_mobility_at(nrw_floor_table_get(), above);
    return nrw_shear_motion_of(above, at.mt, at.mr, at.rolling);
}

void nrw_flow_carry(const nrw_flow *flow, const nrw_flow_now *now, const nrw_flow_rows *rows)
{
    const double depth = nrw_flow_depth_um(flow);
    for (size_t row = 0; row < rows->n; row++) {
        const uint32_t i = rows->order[row];
        const double at[3] = {rows->x_um[i], rows->y_um[i], rows->z_um[i]};
        nrw_flow_local local = nrw_flow_at(flow, now, at);
        nrw_shear_motion motion = motion_of(rows, row, at[2], depth);
        rows->velocity_x[row] = (float)(motion.velocity * local.velocity_um_s[0]);
        rows->velocity_y[row] = (float)(motion.velocity * local.velocity_um_s[1]);
        rows->spin_x[row] = (float)(motion.spin * local.spin_per_s[0]);
        rows->spin_y[row] = (float)(motion.spin * local.spin_per_s[1]);
        rows->spin_z[row] = (float)local.spin_per_s[2];
    }
}
