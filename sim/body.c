#include "body.h"

#include <math.h>
#include <string.h>

#include "doublet.h"
#include "particle.h"

/* Doublets: the gap under lobes that share the weight, and for permanent moments the
 * drag against the turn in which they follow a field. */
static void shape_body(nrw_body *body, const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    const nrw_doublet_shape shape = nrw_doublet_shape_of(particles->shape.aspect);
    const bool along = particles->shape.moment == NRW_MOMENT_ALONG;
    if (particles->kind == NRW_MOMENT_PERMANENT)
        body->spin_drag_pN_um_s *= along ? shape.friction.tumble : shape.friction.spin;
    if (!body->has_floor)
        return;
    const double lobe = shape.lobe * body->radius_um;
    body->gap_um = nrw_particle_gap_um(
        scenario, 2.0 * lobe, 0.5 * body->weight_pN / shape.floor_share, scenario->model.brownian);
    body->floor = nrw_floor_mobility_at(nrw_floor_table_get(), body->gap_um / lobe);
}

nrw_body nrw_body_of(const nrw_scenario *scenario, const nrw_draw *draw)
{
    const nrw_particles *particles = &scenario->particles;
    nrw_body body;
    memset(&body, 0, sizeof body);
    body.particles = particles;
    body.diameter_um = particles->diameter_um;
    body.radius_um = 0.5 * particles->diameter_um;
    body.volume_um3 = nrw_sphere_volume_um3(particles->diameter_um);
    body.viscosity_Pa_s = scenario->fluid.viscosity_Pa_s * (draw ? draw->viscosity : 1.0);
    body.drag_pN_s_um = 6.0 * NRW_PI * body.viscosity_Pa_s * body.radius_um;
    body.spin_drag_pN_um_s = 8.0 * NRW_PI * body.viscosity_Pa_s * pow(body.radius_um, 3.0);
    body.kT_pN_um = nrw_thermal_energy_pN_um(scenario);
    body.weight_pN =
        scenario->model.gravity ? nrw_particle_weight_pN(scenario, particles->diameter_um) : 0.0;
    nrw_double_layer_parameters(scenario, particles->diameter_um, &body.layer_amplitude_pN,
                                &body.debye_um);
    body.roughness_um = 1e-3 * particles->roughness_nm;
    body.given_gap_um = particles->surface_gap_um;
    body.has_floor = scenario->map.has_floor;
    body.gap_um = NAN;
    body.floor = (nrw_floor_mobility){1.0, 1.0, 1.0, 1.0, 0.0, 0.0};
    if (body.has_floor) {
        body.gap_um = nrw_particle_gap_um(scenario, particles->diameter_um, body.weight_pN,
                                          scenario->model.brownian);
        body.floor = nrw_floor_mobility_at(nrw_floor_table_get(), body.gap_um / body.radius_um);
    }
    if (particles->shape.doublet)
        shape_body(&body, scenario);
    body.kind = particles->kind;
    body.moment_factor = draw ? draw->moment : 1.0;
    body.slope_fAm2_mT = body.moment_factor * body.volume_um3 *
                         nrw_sphere_susceptibility(particles->susceptibility) /
                         (4.0 * NRW_PI * NRW_MU0_4PI);
    body.relaxation_s = particles->relaxation_time_s;
    body.permanent_fAm2 =
        body.moment_factor *
        (body.kind == NRW_MOMENT_PERMANENT ? particles->moment_fAm2 : particles->remanent_fAm2);
    if (body.kind == NRW_MOMENT_PERMANENT)
        body.slope_fAm2_mT = 0.0;
    return body;
}

double nrw_body_moment_fAm2(const nrw_body *body, double field_mT)
{
    return body->moment_factor *
           nrw_particle_moment_fAm2(body->particles, body->diameter_um, field_mT);
}

double nrw_contact_brake(double gap_over_radius)
{
    return fmax(0.0, 0.25 * log(1.0 / gap_over_radius) - 0.32);
}
