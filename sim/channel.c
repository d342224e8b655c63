#include "channel.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "centreline.h"
#include "channel_check.h"
#include "distance_grid.h"
#include "flow.h"
#include "mask.h"
#include "outline.h"
#include "random.h"
#include "route.h"
#include "scenario_locate.h"
#include "wall.h"
#include "widest_path.h"

/* Spacing of the distance grid in particle diameters, and its limit in memory. */
#define GRID_PER_DIAMETER 0.125
#define GRID_BYTES ((size_t)64 << 20)
/* The grid is fine, and its error measured, within this many diameters of walls. */
#define NEAR_DIAMETERS 2.0
enum { ERROR_SAMPLES = 4096 };

struct nrw_channel {
    bool open;
    nrw_channel_report report;
    double bounds_um[4];
    nrw_map map;           /* nodes and ends of the vessels; via points and widths are in lines */
    nrw_centreline *lines; /* (n_vessels) */
    nrw_outline outline;
    nrw_distance_grid grid;
    nrw_route route;
    double *node_route_um; /* (n_nodes) */
    nrw_throat *throats;   /* (n_throats) */
    size_t n_throats;
    nrw_place start, target;
    double diameter_um;
    nrw_flow *flow; /* NULL: at rest */
};

/* --- creation ----------------------------------------------------------------- */

static nrw_status no_memory(nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_NO_MEMORY, "", "no memory for the channel");
}

static nrw_status copy_map(const nrw_map *from, nrw_map *to)
{
    *to = *from;
    to->nodes = malloc((from->n_nodes + 1) * sizeof *to->nodes);
    to->vessels = malloc((from->n_vessels + 1) * sizeof *to->vessels);
    if (!to->nodes || !to->vessels)
        return NRW_NO_MEMORY;
    if (from->n_nodes)
        memcpy(to->nodes, from->nodes, from->n_nodes * sizeof *to->nodes);
    for (size_t i = 0; i < from->n_vessels; i++)
        to->vessels[i] = (nrw_vessel){.from = from->vessels[i].from, .to = from->vessels[i].to};
    return NRW_OK;
}

static nrw_status build_lines(nrw_channel *channel, const nrw_scenario *scenario, const char *file,
                              nrw_errors *errors)
{
    const nrw_map *map = &scenario->map;
    if (map->n_vessels == 0)
        return nrw_errors_add_at(errors, NRW_BAD_INPUT, file, 0, 0, "channel.vessels",
                                 "at least one vessel, or open: true", "no vessel");
    channel->lines = calloc(map->n_vessels, sizeof *channel->lines);
    if (!channel->lines)
        return no_memory(errors);
    nrw_status status = NRW_OK;
    for (size_t v = 0; v < map->n_vessels; v++) {
        nrw_status found = nrw_centreline_build(map, v, file, &channel->lines[v], errors);
        if (found == NRW_NO_MEMORY)
            return found;
        status = found != NRW_OK ? found : status;
    }
    /* A picture's lines have no crossings that are not nodes. */
    if (status == NRW_OK && !map->mask)
        status = nrw_centreline_check_crossings(map, channel->lines, file, errors);
    return status;
}

static void find_bounds(nrw_channel *channel)
{
    double *bounds = channel->bounds_um;
    bounds[0] = bounds[1] = INFINITY;
    bounds[2] = bounds[3] = -INFINITY;
    for (size_t i = 0; i < channel->outline.n_segments; i++) {
        const double *a = channel->outline.segments[i].a_um;
        for (int k = 0; k < 4; k++)
            bounds[k] = k < 2 ? fmin(bounds[k], a[k]) : fmax(bounds[k], a[k - 2]);
    }
}

static void find_open_bounds(nrw_channel *channel)
{
    const nrw_place *places[2] = {&channel->start, &channel->target};
    double *bounds = channel->bounds_um;
    bounds[0] = bounds[1] = INFINITY;
    bounds[2] = bounds[3] = -INFINITY;
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++) {
            double radius = places[i]->radius_um;
            bounds[k] = fmin(bounds[k], places[i]->at_um[k] - radius);
            bounds[k + 2] = fmax(bounds[k + 2], places[i]->at_um[k] + radius);
        }
}

/* A random point within reach of a wall: along a segment in proportion to the
 * lengths, aside by up to the reach on either side. */
static void sample_point(const nrw_channel *channel, const double *lengths_um, uint32_t index,
                         double reach, double at[2])
{
    size_t n = channel->outline.n_segments, low = 0, high = n;
    double r = nrw_uniform(1, NRW_STREAM_START, index, 0) * lengths_um[n];
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (lengths_um[middle] <= r)
            low = middle;
        else
            high = middle;
    }
    const nrw_wall_segment *segment = &channel->outline.segments[low];
    double d[2] = {segment->b_um[0] - segment->a_um[0], segment->b_um[1] - segment->a_um[1]};
    double length = hypot(d[0], d[1]);
    double t = (r - lengths_um[low]) / length;
    double aside = reach * (2.0 * nrw_uniform(1, NRW_STREAM_START, index, 1) - 1.0);
    at[0] = segment->a_um[0] + t * d[0] - aside * d[1] / length;
    at[1] = segment->a_um[1] + t * d[1] + aside * d[0] / length;
}

static nrw_status measure_errors(nrw_channel *channel)
{
    const nrw_outline *outline = &channel->outline;
    double *lengths_um = malloc((outline->n_segments + 1) * sizeof *lengths_um);
    if (!lengths_um)
        return NRW_NO_MEMORY;
    lengths_um[0] = 0.0;
    for (size_t i = 0; i < outline->n_segments; i++) {
        const nrw_wall_segment *s = &outline->segments[i];
        lengths_um[i + 1] = lengths_um[i] + hypot(s->b_um[0] - s->a_um[0], s->b_um[1] - s->a_um[1]);
    }
    double worst = 0.0, squares = 0.0;
    for (uint32_t i = 0; i < ERROR_SAMPLES; i++) {
        double at[2];
        sample_point(channel, lengths_um, i, NEAR_DIAMETERS * channel->diameter_um, at);
        double error = fabs(nrw_channel_distance_um(channel, at[0], at[1], NULL) -
                            nrw_outline_distance_um(outline, at[0], at[1], NULL));
        worst = fmax(worst, error);
        squares += error * error;
    }
    free(lengths_um);
    channel->report.distance_error_um = worst;
    channel->report.typical_error_um = sqrt(squares / ERROR_SAMPLES);
    return NRW_OK;
}

/* The walls of a picture are its outline as it is. */
static nrw_status take_outline(nrw_channel *channel, double *joint_radius_um)
{
    const nrw_mask *mask = channel->map.mask;
    memcpy(joint_radius_um, mask->joint_radius_um, channel->map.n_nodes * sizeof *joint_radius_um);
    return nrw_outline_close_loops(&channel->outline, (const double(*)[2])mask->points_um,
                                   mask->firsts, mask->n_loops);
}

static nrw_status build_walls(nrw_channel *channel, double *joint_radius_um)
{
    nrw_status status = channel->map.mask ? take_outline(channel, joint_radius_um)
                                          : nrw_wall_build(&channel->map, channel->lines,
                                                           &channel->outline, joint_radius_um);
    if (status != NRW_OK)
        return status;
    find_bounds(channel);
    nrw_distance_grid_config config = {
        .spacing_um = GRID_PER_DIAMETER * channel->diameter_um,
        .near_um = NEAR_DIAMETERS * channel->diameter_um,
        .contact_um = channel->diameter_um,
        .margin_um = NEAR_DIAMETERS * channel->diameter_um,
        .memory_bytes = GRID_BYTES,
    };
    status = nrw_distance_grid_build(&channel->grid, &channel->outline, &config);
    if (status != NRW_OK)
        return status;
    channel->report.grid_um = channel->grid.spacing_um;
    channel->report.memory_bytes = nrw_distance_grid_bytes(&channel->grid);
    return measure_errors(channel);
}

/* Where the route starts: the release, or the middle of the start positions; if
 * that falls into a wall, the nearest point of a centreline. */
static nrw_place find_start(const nrw_channel *channel, const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    if (scenario->has_release)
        return scenario->release;
    nrw_place start = {.node = -1};
    if (!particles->positions_um || particles->count == 0) {
        memcpy(start.at_um, scenario->target.at_um, sizeof start.at_um);
        return start;
    }
    for (size_t i = 0; i < particles->count; i++)
        for (int k = 0; k < 2; k++)
            start.at_um[k] += particles->positions_um[i][k] / (double)particles->count;
    if (channel->open || nrw_outline_contains(&channel->outline, start.at_um[0], start.at_um[1]))
        return start;
    nrw_foot best = {.distance_um = INFINITY};
    for (size_t v = 0; v < channel->map.n_vessels; v++) {
        nrw_foot foot = nrw_centreline_foot(&channel->lines[v], start.at_um[0], start.at_um[1]);
        if (foot.distance_um < best.distance_um)
            best = foot;
    }
    memcpy(start.at_um, best.at_um, sizeof start.at_um);
    return start;
}

static nrw_status build_route(nrw_channel *channel, const nrw_scenario *scenario,
                              const double *joint_radius_um, const char *file, nrw_errors *errors)
{
    channel->start = find_start(channel, scenario);
    channel->target = scenario->target;
    nrw_route_request request = {
        .map = &channel->map,
        .lines = channel->lines,
        .joint_radius_um = joint_radius_um,
        .start = channel->start,
        .target = channel->target,
        .via_nodes = scenario->route_nodes,
        .n_via_nodes = channel->open ? 0 : scenario->n_route_nodes,
        .file = file,
    };
    nrw_status status = nrw_route_build(&request, &channel->route, errors);
    if (status != NRW_OK)
        return status;
    channel->node_route_um = malloc((channel->map.n_nodes + 1) * sizeof *channel->node_route_um);
    if (!channel->node_route_um)
        return no_memory(errors);
    for (size_t i = 0; i < channel->map.n_nodes; i++) {
        const double *at = channel->map.nodes[i].at_um;
        double passed = channel->route.node_s_um[i];
        channel->node_route_um[i] =
            isnan(passed) ? nrw_route_project_um(&channel->route, at[0], at[1]) : passed;
    }
    status = nrw_route_throats(&channel->route, nrw_scenario_gathered_diameter_um(scenario),
                               &channel->throats, &channel->n_throats);
    return status == NRW_OK ? NRW_OK : no_memory(errors);
}

static nrw_status build_closed(nrw_channel *channel, const nrw_scenario *scenario,
                               double *joint_radius_um, const char *file, nrw_errors *errors)
{
    nrw_status status = build_lines(channel, scenario, file, errors);
    if (status != NRW_OK)
        return status;
    if (build_walls(channel, joint_radius_um) != NRW_OK)
        return no_memory(errors);
    status = nrw_channel_check_places(scenario, &channel->outline, errors);
    if (status == NRW_OK)
        status = build_route(channel, scenario, joint_radius_um, file, errors);
    if (status == NRW_OK && scenario->flow.n_ports > 0)
        status = nrw_flow_create(scenario, channel, channel->lines, &channel->flow, errors);
    return status;
}

static nrw_status build(nrw_channel *channel, const nrw_scenario *scenario, nrw_errors *errors)
{
    const char *file = scenario->path ? scenario->path : "";
    channel->open = scenario->map.open;
    channel->diameter_um = scenario->particles.diameter_um;
    nrw_outline_init(&channel->outline);
    if (copy_map(&scenario->map, &channel->map) != NRW_OK)
        return no_memory(errors);
    if (channel->open) {
        channel->map.n_vessels = 0;
        nrw_status status = build_route(channel, scenario, NULL, file, errors);
        if (status == NRW_OK)
            find_open_bounds(channel);
        return status;
    }
    double *joint_radius_um = malloc((channel->map.n_nodes + 1) * sizeof *joint_radius_um);
    if (!joint_radius_um)
        return no_memory(errors);
    nrw_status status = build_closed(channel, scenario, joint_radius_um, file, errors);
    free(joint_radius_um);
    return status;
}

nrw_status nrw_channel_create(const nrw_scenario *scenario, nrw_channel **channel,
                              nrw_errors *errors)
{
    *channel = NULL;
    nrw_channel *created = calloc(1, sizeof *created);
    if (!created)
        return no_memory(errors);
    size_t first_error = errors ? errors->n_items : 0;
    nrw_status status = build(created, scenario, errors);
    if (status == NRW_OK) {
        *channel = created;
        return NRW_OK;
    }
    nrw_scenario_locate(scenario, errors, first_error);
    nrw_channel_destroy(created);
    return status;
}

void nrw_channel_destroy(nrw_channel *channel)
{
    if (!channel)
        return;
    for (size_t v = 0; v < channel->map.n_vessels && channel->lines; v++)
        nrw_centreline_clear(&channel->lines[v]);
    free(channel->lines);
    nrw_outline_clear(&channel->outline);
    nrw_distance_grid_clear(&channel->grid);
    nrw_route_clear(&channel->route);
    free(channel->node_route_um);
    free(channel->throats);
    nrw_flow_destroy(channel->flow);
    free(channel->map.nodes);
    free(channel->map.vessels);
    free(channel);
}

/* --- walls -------------------------------------------------------------------- */

bool nrw_channel_is_open(const nrw_channel *channel)
{
    return channel->open;
}

const nrw_channel_report *nrw_channel_get_report(const nrw_channel *channel)
{
    return &channel->report;
}

const nrw_wall_segment *nrw_channel_outline(const nrw_channel *channel, size_t *n_segments)
{
    *n_segments = channel->outline.n_segments;
    return channel->outline.segments;
}

void nrw_channel_bounds(const nrw_channel *channel, double bounds_um[4])
{
    memcpy(bounds_um, channel->bounds_um, sizeof channel->bounds_um);
}

/* Blended gradients of nearly opposite walls can cancel (length² below this, in
 * units of the stored words); the outline itself then decides. */
static const float CANCELLED = 32767.0f * 32767.0f * 1e-4f;

static void exact_gradient(const nrw_channel *channel, double x, double y, double gradient[2])
{
    double nearest[2];
    double distance = nrw_outline_distance_um(&channel->outline, x, y, nearest);
    double dx = x - nearest[0], dy = y - nearest[1], length = hypot(dx, dy);
    double sign = distance < 0.0 ? -1.0 : 1.0;
    gradient[0] = length > 0.0 ? sign * dx / length : 1.0;
    gradient[1] = length > 0.0 ? sign * dy / length : 0.0;
}

/* Beyond the grid, which ends in the wall: the edge's distance less the way there,
 * and the direction of that way. */
static double distance_beyond(const nrw_distance_grid *grid, double x, double y, double distance,
                              double gradient[2])
{
    double from[2] = {x, y}, way[2];
    for (int k = 0; k < 2; k++) {
        double low = grid->origin_um[k];
        double high = low + grid->last_cell[k] * grid->spacing_um;
        way[k] = fmin(fmax(from[k], low), high) - from[k];
    }
    double length = hypot(way[0], way[1]);
    if (!(length > 0.0))
        return distance;
    if (gradient) {
        gradient[0] = way[0] / length;
        gradient[1] = way[1] / length;
    }
    return distance - length;
}

double nrw_channel_distance_um(const nrw_channel *channel, double x_um, double y_um,
                               double gradient[2])
{
    if (channel->open) {
        if (gradient)
            gradient[0] = gradient[1] = 0.0;
        return INFINITY;
    }
    float blended[2];
    bool beyond;
    double distance = (double)nrw_distance_grid_blend(&channel->grid, x_um, y_um, blended, &beyond);
    if (gradient) {
        float square = blended[0] * blended[0] + blended[1] * blended[1];
        float per_length = 1.0f / sqrtf(square);
        gradient[0] = (double)(blended[0] * per_length);
        gradient[1] = (double)(blended[1] * per_length);
        if (square < CANCELLED)
            exact_gradient(channel, x_um, y_um, gradient);
    }
    if (beyond)
        return distance_beyond(&channel->grid, x_um, y_um, distance, gradient);
    return distance;
}

void nrw_channel_sample(const nrw_channel *channel, size_t n, const double *x_um,
                        const double *y_um, float *distance_um, float *gradient_x,
                        float *gradient_y)
{
    for (size_t i = 0; i < n; i++) {
        double gradient[2];
        distance_um[i] =
            (float)nrw_channel_distance_um(channel, x_um[i], y_um[i], gradient_x ? gradient : NULL);
        if (gradient_x) {
            gradient_x[i] = (float)gradient[0];
            gradient_y[i] = (float)gradient[1];
        }
    }
}

double nrw_channel_distance_exact_um(const nrw_channel *channel, double x_um, double y_um)
{
    if (channel->open)
        return INFINITY;
    return nrw_outline_distance_um(&channel->outline, x_um, y_um, NULL);
}

/* --- route and vessels ----------------------------------------------------------- */

double nrw_channel_route_length_um(const nrw_channel *channel)
{
    return nrw_route_length_um(&channel->route);
}

void nrw_channel_route_point(const nrw_channel *channel, double s_um, double at_um[2],
                             double direction[2])
{
    nrw_route_at(&channel->route, s_um, at_um, direction);
}

double nrw_channel_route_project_um(const nrw_channel *channel, double x_um, double y_um)
{
    return nrw_route_project_um(&channel->route, x_um, y_um);
}

double nrw_channel_route_width_um(const nrw_channel *channel, double s_um)
{
    return nrw_route_width_um(&channel->route, s_um);
}

double nrw_channel_route_node_um(const nrw_channel *channel, int node)
{
    return channel->node_route_um[node];
}

bool nrw_channel_route_has_node(const nrw_channel *channel, int node)
{
    return !isnan(channel->route.node_s_um[node]);
}

const nrw_throat *nrw_channel_throats(const nrw_channel *channel, size_t *n_throats)
{
    *n_throats = channel->n_throats;
    return channel->throats;
}

double nrw_channel_narrowest_um(const nrw_channel *channel, double at_um[2])
{
    double s;
    double width = nrw_route_narrowest_um(&channel->route, &s);
    nrw_route_at(&channel->route, s, at_um, NULL);
    return width;
}

double nrw_channel_widest_path_um(const nrw_channel *channel, double at_um[2])
{
    double distance = INFINITY, at[2];
    memcpy(at, channel->start.at_um, sizeof at);
    if (!channel->open &&
        nrw_widest_path(channel, &channel->map, channel->lines, &channel->start, &channel->target,
                        0.5 * channel->diameter_um, &distance, at) != NRW_OK)
        distance = NAN;
    if (at_um)
        memcpy(at_um, at, sizeof at);
    return 2.0 * distance;
}

int nrw_channel_vessel_at(const nrw_channel *channel, double x_um, double y_um)
{
    int best = -1;
    double least = INFINITY;
    for (size_t v = 0; v < channel->map.n_vessels; v++) {
        nrw_foot foot = nrw_centreline_foot(&channel->lines[v], x_um, y_um);
        if (foot.distance_um < least) {
            least = foot.distance_um;
            best = (int)v;
        }
    }
    return best;
}

bool nrw_channel_route_has_vessel(const nrw_channel *channel, int vessel)
{
    return vessel >= 0 && (size_t)vessel < channel->map.n_vessels &&
           channel->route.has_vessel[vessel];
}

const nrw_flow *nrw_channel_flow(const nrw_channel *channel)
{
    return channel->flow;
}
