#include "mask.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "mask_map.h"
#include "units.h"

/* Simplification of the outline, pixels. */
#define OUTLINE_TOLERANCE_PX 0.03

void nrw_mask_destroy(nrw_mask *mask)
{
    if (!mask)
        return;
    free(mask->points_um);
    free(mask->firsts);
    free(mask->joint_radius_um);
    free(mask->file);
    free(mask->bytes);
    free(mask);
}

/* --- frames ---------------------------------------------------------------------------- */

/* Cosine and sine, exact at multiples of a right angle. */
static void turn_of(double degrees, double *cosine, double *sine)
{
    double quarters = degrees / 90.0, whole = round(quarters);
    double rest = (quarters - whole) * 0.5 * NRW_PI;
    int quarter = (int)fmod(whole, 4.0);
    double c = cos(rest), s = sin(rest);
    quarter = quarter < 0 ? quarter + 4 : quarter;
    *cosine = quarter == 0 ? c : quarter == 1 ? -s : quarter == 2 ? -c : s;
    *sine = quarter == 0 ? s : quarter == 1 ? c : quarter == 2 ? -s : -c;
}

void nrw_mask_to_um(const nrw_mask_frame *frame, const double at_px[2], double at_um[2])
{
    double x = frame->flip_x ? frame->width_px - at_px[0] : at_px[0];
    double y = frame->flip_y ? frame->height_px - at_px[1] : at_px[1];
    double c, s;
    turn_of(frame->rotate_deg, &c, &s);
    at_um[0] = frame->origin_um[0] + frame->pixel_um * (c * x - s * y);
    at_um[1] = frame->origin_um[1] + frame->pixel_um * (s * x + c * y);
}

void nrw_mask_to_px(const nrw_mask_frame *frame, const double at_um[2], double at_px[2])
{
    double dx = (at_um[0] - frame->origin_um[0]) / frame->pixel_um;
    double dy = (at_um[1] - frame->origin_um[1]) / frame->pixel_um;
    double c, s;
    turn_of(frame->rotate_deg, &c, &s);
    double x = c * dx + s * dy, y = c * dy - s * dx;
    at_px[0] = frame->flip_x ? frame->width_px - x : x;
    at_px[1] = frame->flip_y ? frame->height_px - y : y;
}

/* --- outline ------------------------------------------------------------------------------ */

/* A mirrored picture's loops go round the other way: they are turned back. */
static nrw_status take_outline(const nrw_mask_field *field, nrw_mask *mask)
{
    nrw_mask_loops loops;
    nrw_status status = nrw_mask_loops_trace(field, OUTLINE_TOLERANCE_PX, &loops);
    bool mirrored = mask->frame.flip_x != mask->frame.flip_y;
    for (size_t k = 0; k < loops.n_loops && status == NRW_OK; k++)
        for (size_t i = loops.firsts[k]; i < loops.firsts[k + 1]; i++) {
            double at_um[2];
            nrw_mask_to_um(&mask->frame, loops.points_px[i], at_um);
            memcpy(loops.points_px[i], at_um, sizeof at_um);
        }
    for (size_t k = 0; k < loops.n_loops && status == NRW_OK && mirrored; k++)
        for (size_t i = loops.firsts[k], j = loops.firsts[k + 1] - 1; i < j; i++, j--) {
            double kept[2];
            memcpy(kept, loops.points_px[i], sizeof kept);
            memcpy(loops.points_px[i], loops.points_px[j], sizeof kept);
            memcpy(loops.points_px[j], kept, sizeof kept);
        }
    if (status != NRW_OK) {
        nrw_mask_loops_clear(&loops);
        return status;
    }
    mask->points_um = loops.points_px; /* taken over */
    mask->firsts = loops.firsts;
    mask->n_loops = loops.n_loops;
    return NRW_OK;
}

/* --- extraction ----------------------------------------------------------------------------- */

static nrw_status take_graph(const nrw_mask_field *field, nrw_mask_graph *graph)
{
    nrw_mask_skeleton skeleton;
    memset(graph, 0, sizeof *graph);
    nrw_status status = nrw_mask_skeleton_build(field, &skeleton);
    if (status == NRW_OK)
        status = nrw_mask_graph_trace(field, &skeleton, graph);
    nrw_mask_skeleton_clear(&skeleton);
    return status == NRW_OK ? nrw_mask_graph_refine(field, graph) : status;
}

static nrw_status extract(const nrw_picture *picture, const nrw_mask_request *request, nrw_map *map,
                          char *fault, size_t size)
{
    nrw_mask_field field;
    nrw_mask_graph graph = {0};
    double seed[2];
    nrw_mask_to_px(&map->mask->frame, request->release_um, seed);
    nrw_status status = nrw_mask_field_build(picture, request->threshold, seed, &field);
    if (status == NRW_BAD_INPUT)
        (void)snprintf(fault, size, "has no fluid: no pixel is as bright as %g of white",
                       request->threshold);
    if (status != NRW_OK)
        return status;
    status = take_outline(&field, map->mask);
    if (status == NRW_OK && map->mask->n_loops == 0)
        status = NRW_BAD_INPUT;
    if (status == NRW_OK)
        status = take_graph(&field, &graph);
    if (status == NRW_BAD_INPUT)
        (void)snprintf(fault, size,
                       "has only %zu pixels of fluid about the release: too few "
                       "for a centreline",
                       field.n_fluid);
    if (status == NRW_OK)
        status = nrw_mask_map_fill(&graph, map->mask, map, fault, size);
    nrw_mask_graph_clear(&graph);
    nrw_mask_field_clear(&field);
    return status;
}

nrw_status nrw_mask_extract(const nrw_picture *picture, const nrw_mask_request *request,
                            nrw_map *map, char *fault, size_t size)
{
    map->mask = calloc(1, sizeof *map->mask);
    if (!map->mask)
        return NRW_NO_MEMORY;
    map->mask->frame = request->frame;
    map->mask->frame.width_px = picture->width;
    map->mask->frame.height_px = picture->height;
    map->mask->threshold = request->threshold;
    return extract(picture, request, map, fault, size);
}
