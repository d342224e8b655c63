#include "doublet.h"

#include <math.h>

#include "particle.h"

double nrw_doublet_demagnetising(double aspect)
{
    const double q = aspect - 1.0;
    return (1.0 - 0.25 * q * (3.05 - 1.6 * q - 0.45 * pow(q, 5.5))) / 3.0;
}

nrw_doublet_shape nrw_doublet_shape_of(double aspect)
{
    const double q = aspect - 1.0; /* distance of the centres over a lobe's diameter */
    /* volume of the two over that of a lobe: twice, less the lens that they share */
    const double volume = 2.0 - 0.5 * (2.0 + q) * (1.0 - q) * (1.0 - q);
    nrw_doublet_shape shape;
    shape.aspect = aspect;
    shape.lobe = 1.0 / cbrt(volume);
    shape.half = q * shape.lobe;
    shape.friction = nrw_spheroid_friction_of(aspect);
    shape.demag_along = nrw_doublet_demagnetising(aspect);
    shape.demag_across = 0.5 * (1.0 - shape.demag_along);
    shape.contact_share = 0.25 + 0.75 * q;
    shape.floor_share = 0.5 + 0.5 * q;
    return shape;
}

void nrw_doublet_polarisabilities(const nrw_body *body, const nrw_doublet_shape *shape,
                                  double field_mT, double *along, double *across)
{
    double chi = body->particles->susceptibility;
    if (isfinite(body->particles->saturation_kA_m) && field_mT > 0.0) {
        const double m = nrw_particle_moment_fAm2(body->particles, body->diameter_um, field_mT) /
                         body->volume_um3;
        chi = m / (field_mT / (4.0 * NRW_PI * NRW_MU0_4PI) - m / 3.0);
    }
    const double unit = body->moment_factor * body->volume_um3 / (4.0 * NRW_PI * NRW_MU0_4PI);
    *along = unit * chi / (1.0 + chi * shape->demag_along);
    *across = unit * chi / (1.0 + chi * shape->demag_across);
}

double nrw_doublet_step_out_rad_s(const nrw_body *body, double field_mT)
{
    const nrw_doublet_shape shape = nrw_doublet_shape_of(body->particles->shape.aspect);
    const double radius = body->radius_um;
    const double drag = 8.0 * NRW_PI * body->viscosity_Pa_s * radius * radius * radius;
    if (body->kind == NRW_MOMENT_PERMANENT) {
        const bool along = body->particles->shape.moment == NRW_MOMENT_ALONG;
        return body->permanent_fAm2 * field_mT /
               (drag * (along ? shape.friction.tumble : shape.friction.spin));
    }
    double along, across;
    nrw_doublet_polarisabilities(body, &shape, field_mT, &along, &across);
    return 0.5 * (along - across) * field_mT * field_mT / (drag * shape.friction.tumble);
}

const char *nrw_doublet_refusal(const nrw_scenario *scenario, const char **instead)
{
    *instead = "shape: {kind: sphere}, or leave it out";
    if (scenario->flow.n_ports > 0)
        return "how a flow carries and turns doublets is not derived";
    if (scenario->particles.adhesion_rate_per_s > 0.0)
        return "sticking to walls is not derived for doublets";
    if (scenario->model.wall_drag)
        return "the drag of side walls is not derived for doublets";
    if (scenario->particles.remanent_fAm2 > 0.0)
        return "an induced moment with a fixed part is not derived for doublets";
    if (scenario->model.mutual_induction)
        return "mutual induction is not derived for doublets";
    if (scenario->particles.kind == NRW_MOMENT_INDUCED && scenario->particles.remanent_fAm2 > 0.0)
        return "a remanent part beside an induced moment is not derived for doublets";
    return NULL;
}
