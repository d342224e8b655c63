#include "wall.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/* Widths nearer than this share of themselves are equal. */
#define SAME_WIDTH 1e-9

/* Point at `offset` to the left of the centreline; shapes that share a corner
 * compute it here from the same numbers, so that it is the same to the last bit. */
static void offset_point(const double at[2], const double along[2], double offset, double point[2])
{
    point[0] = at[0] - along[1] * offset;
    point[1] = at[1] + along[0] * offset;
}

/* The stretch of a vessel between two cross-sections; its walls are straight. */
static nrw_status add_piece(nrw_outline *outline, const double a[2], double width_a,
                            const double b[2], double width_b, const double along[2])
{
    double corners[4][2];
    offset_point(a, along, -0.5 * width_a, corners[0]);
    offset_point(b, along, -0.5 * width_b, corners[1]);
    offset_point(b, along, 0.5 * width_b, corners[2]);
    offset_point(a, along, 0.5 * width_a, corners[3]);
    return nrw_outline_add_polygon(outline, (const double(*)[2])corners, 4);
}

/* Fills what a turn between two pieces of equal width leaves open at its outer
 * side: the sector of the disc between the ends of their walls. */
static nrw_status add_turn(nrw_outline *outline, const double at[2], const double before[2],
                           const double after[2], double width)
{
    double half = 0.5 * width;
    double sine = before[0] * after[1] - before[1] * after[0];
    double cosine = before[0] * after[0] + before[1] * after[1];
    if (cosine > 0.0 && fabs(sine) * half <= 0.5 * NRW_OUTLINE_TOLERANCE_UM)
        return NRW_OK;
    double from[2], to[2];
    if (sine > 0.0) { /* turns left: open on the right */
        offset_point(at, before, -half, from);
        offset_point(at, after, -half, to);
    } else {
        offset_point(at, after, half, from);
        offset_point(at, before, half, to);
    }
    return nrw_outline_add_sector(outline, at, from, to);
}

static bool same_width(double a, double b)
{
    return fabs(a - b) <= SAME_WIDTH * fmax(a, b);
}

static nrw_status add_vessel(nrw_outline *outline, const nrw_centreline *line)
{
    nrw_status status = NRW_OK;
    const nrw_centre_point *last = NULL; /* end of the piece before */
    const double *last_along = NULL;
    for (size_t i = 0; i + 1 < line->n_points && status == NRW_OK; i++) {
        const nrw_centre_point *a = &line->points[i], *b = a + 1;
        if (b->s_um <= a->s_um)
            continue;
        status = add_piece(outline, a->at_um, a->width_um, b->at_um, b->width_um, a->along);
        bool turns = last && (last_along[0] != a->along[0] || last_along[1] != a->along[1]);
        if (turns && status == NRW_OK)
            status = same_width(last->width_um, a->width_um)
                         ? add_turn(outline, a->at_um, last_along, a->along, a->width_um)
                         : nrw_outline_add_disc(outline, a->at_um,
                                                0.5 * fmax(last->width_um, a->width_um));
        last = b;
        last_along = a->along;
    }
    return status;
}

/* An end of a vessel at a node. */
typedef struct vessel_end {
    double outward[2]; /* unit direction from the node into the vessel */
    double width_um;
} vessel_end;

static vessel_end end_of(const nrw_centreline *line, bool at_start)
{
    const nrw_centre_point *point = &line->points[at_start ? 0 : line->n_points - 1];
    double sign = at_start ? 1.0 : -1.0;
    return (vessel_end){{sign * point->along[0], sign * point->along[1]}, point->width_um};
}

/* An open end goes on by one width, so that particles cross the node freely. */
static nrw_status add_open_end(nrw_outline *outline, const double at[2], const vessel_end *end)
{
    double beyond[2] = {at[0] - end->width_um * end->outward[0],
                        at[1] - end->width_um * end->outward[1]};
    return add_piece(outline, beyond, end->width_um, at, end->width_um, end->outward);
}

static nrw_status add_node(nrw_outline *outline, const nrw_map *map, const nrw_centreline *lines,
                           size_t node, double *joint_radius)
{
    vessel_end ends[2];
    size_t n = 0;
    double widest = 0.0, narrowest = INFINITY;
    for (size_t v = 0; v < map->n_vessels; v++)
        for (int k = 0; k < 2; k++) {
            if ((size_t)(k == 0 ? map->vessels[v].from : map->vessels[v].to) != node)
                continue;
            vessel_end end = end_of(&lines[v], k == 0);
            widest = fmax(widest, end.width_um);
            narrowest = fmin(narrowest, end.width_um);
            if (n < 2)
                ends[n] = end;
            n++;
        }
    *joint_radius = 0.0;
    const double *at = map->nodes[node].at_um;
    if (n == 0)
        return NRW_OK;
    if (n == 1)
        return map->nodes[node].is_inlet || map->nodes[node].is_outlet
                   ? add_open_end(outline, at, &ends[0])
                   : NRW_OK;
    if (n == 2 && same_width(widest, narrowest)) {
        double before[2] = {-ends[0].outward[0], -ends[0].outward[1]};
        return add_turn(outline, at, before, ends[1].outward, widest);
    }
    *joint_radius = 0.5 * widest;
    return nrw_outline_add_disc(outline, at, *joint_radius);
}

nrw_status nrw_wall_build(const nrw_map *map, const nrw_centreline *lines, nrw_outline *outline,
                          double *joint_radius_um)
{
    nrw_status status = NRW_OK;
    for (size_t v = 0; v < map->n_vessels && status == NRW_OK; v++)
        status = add_vessel(outline, &lines[v]);
    for (size_t i = 0; i < map->n_nodes && status == NRW_OK; i++)
        status = add_node(outline, map, lines, i, &joint_radius_um[i]);
    return status == NRW_OK ? nrw_outline_close(outline) : status;
}
