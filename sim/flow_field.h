/* Slow flow over a map: the pressure between the side walls.
 *
 * Everywhere the flow across a unit width is K γ, with γ the pressure's fall over the
 * viscosity and K that of the rectangular duct as wide as the channel there, at that
 * distance from its wall. In a straight vessel this is the duct's own profile; where
 * vessels meet or bend it divides the flow as the pressure asks. ∇·(K γ) = 0 on square
 * cells, by conjugate gradients. What is left out: friction across the streamlines
 * beyond the local duct's (docs/flow.md). */
#ifndef NRW_FLOW_FIELD_H
#define NRW_FLOW_FIELD_H

#include <stddef.h>

#include "centreline.h"
#include "channel.h"
#include "error.h"
#include "scenario.h"

typedef struct nrw_flow_field nrw_flow_field;

/* All borrowed while the field is made. */
typedef struct nrw_flow_field_request {
    const nrw_channel *channel;
    const nrw_map *map;
    const nrw_centreline *lines; /* (n_vessels) */
    double depth_um;
    double narrowest_um; /* width of the narrowest vessel with flow */
} nrw_flow_field_request;

/* Where fluid enters or leaves: across a vessel, between two distances from a place
 * along a direction out of the map. */
typedef struct nrw_flow_source {
    double at_um[2], outward[2], half_width_um;
    double from_um, to_um;
    double flow_um3_s; /* into the map */
} nrw_flow_source;

/* Lays the cells: eight across the narrowest vessel, larger where they would be more
 * than some 400,000 over the map's box. NRW_OK or NRW_NO_MEMORY. About 0.5 µs a cell. */
nrw_status nrw_flow_field_create(const nrw_flow_field_request *request, nrw_flow_field **field);
void nrw_flow_field_destroy(nrw_flow_field *field);

/* Solves for one set of sources (their flows sum to 0) and keeps the solution as the
 * next one, counted from 0. NRW_OK, NRW_NO_MEMORY, or NRW_DIVERGED. O(cells^1.5). */
nrw_status nrw_flow_field_solve(nrw_flow_field *field, const nrw_flow_source *sources,
                                size_t n_sources);

double nrw_flow_field_spacing_um(const nrw_flow_field *field);

/* A place among the cells, for looking up all solutions there. */
typedef struct nrw_flow_spot {
    size_t cell; /* lowest of four */
    float weight[4];
} nrw_flow_spot;

nrw_flow_spot nrw_flow_field_spot(const nrw_flow_field *field, double x_um, double y_um);

/* γ of a solution, 1/(µm·s); the local width, µm. Bilinear between cells' centres;
 * beyond the walls as just inside. */
void nrw_flow_field_fall(const nrw_flow_field *field, size_t solution, const nrw_flow_spot *spot,
                         double fall[2]);
double nrw_flow_field_width_um(const nrw_flow_field *field, const nrw_flow_spot *spot);

#endif
