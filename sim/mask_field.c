#include "mask_field.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Rim of wall: the smoothing reaches two pixels, one more stays 0. */
enum { RIM = 3 };
/* Smoothed levels keep this far from NRW_MASK_LEVEL on their own side. */
#define KEPT 0.02f

void nrw_mask_field_clear(nrw_mask_field *field)
{
    free(field->level);
    free(field->fluid);
    memset(field, 0, sizeof *field);
}

/* --- the connected part ------------------------------------------------------------ */

typedef struct region {
    const nrw_picture *picture;
    uint16_t level; /* least level of fluid */
    uint8_t *taken; /* (pixels) */
    int bounds[4];  /* x_min, y_min, x_max, y_max of what is taken */
    size_t n_taken;
} region;

static bool is_fluid(const region *r, int x, int y)
{
    return r->picture->grey[(size_t)y * (size_t)r->picture->width + (size_t)x] >= r->level;
}

/* Fluid pixel whose centre is nearest to the seed, -1: none. */
static long nearest_fluid(const region *r, const double seed[2])
{
    long best = -1;
    double least = INFINITY;
    for (int y = 0; y < r->picture->height; y++)
        for (int x = 0; x < r->picture->width; x++) {
            double dx = x + 0.5 - seed[0], dy = y + 0.5 - seed[1];
            double square = dx * dx + dy * dy;
            if (square < least && is_fluid(r, x, y)) {
                least = square;
                best = (long)y * r->picture->width + x;
            }
        }
    return best;
}

static void take(region *r, long pixel, long *stack, size_t *n)
{
    int x = (int)(pixel % r->picture->width), y = (int)(pixel / r->picture->width);
    r->taken[pixel] = 1;
    r->n_taken++;
    r->bounds[0] = x < r->bounds[0] ? x : r->bounds[0];
    r->bounds[1] = y < r->bounds[1] ? y : r->bounds[1];
    r->bounds[2] = x > r->bounds[2] ? x : r->bounds[2];
    r->bounds[3] = y > r->bounds[3] ? y : r->bounds[3];
    stack[(*n)++] = pixel;
}

static nrw_status fill_region(region *r, long seed)
{
    const int width = r->picture->width, height = r->picture->height;
    size_t n = 0, pixels = (size_t)width * (size_t)height;
    long *stack = malloc(pixels * sizeof *stack);
    if (!stack)
        return NRW_NO_MEMORY;
    r->bounds[0] = width;
    r->bounds[1] = height;
    take(r, seed, stack, &n);
    while (n > 0) {
        long at = stack[--n];
        int x = (int)(at % width), y = (int)(at / width);
        if (x > 0 && !r->taken[at - 1] && is_fluid(r, x - 1, y))
            take(r, at - 1, stack, &n);
        if (x + 1 < width && !r->taken[at + 1] && is_fluid(r, x + 1, y))
            take(r, at + 1, stack, &n);
        if (y > 0 && !r->taken[at - width] && is_fluid(r, x, y - 1))
            take(r, at - width, stack, &n);
        if (y + 1 < height && !r->taken[at + width] && is_fluid(r, x, y + 1))
            take(r, at + width, stack, &n);
    }
    free(stack);
    return NRW_OK;
}

/* --- levels -------------------------------------------------------------------------- */

/* Level with the threshold moved to one half; fluid that is not connected counts as
 * wall. */
static float level_of(const region *r, double threshold, int x, int y)
{
    if (x < 0 || y < 0 || x >= r->picture->width || y >= r->picture->height)
        return 0.0f;
    size_t at = (size_t)y * (size_t)r->picture->width + (size_t)x;
    double grey = r->picture->grey[at] / 65535.0;
    if (r->picture->grey[at] < r->level)
        return (float)(0.5 * grey / threshold);
    if (!r->taken[at])
        return 0.0f;
    return (float)(threshold < 1.0 ? 0.5 + 0.5 * (grey - threshold) / (1.0 - threshold) : 1.0);
}

static void copy_levels(const region *r, double threshold, nrw_mask_field *field)
{
    for (int j = 0; j < field->height; j++)
        for (int i = 0; i < field->width; i++) {
            size_t at = (size_t)j * (size_t)field->width + (size_t)i;
            int x = field->x0 + i, y = field->y0 + j;
            bool inside = x >= 0 && y >= 0 && x < r->picture->width && y < r->picture->height;
            field->level[at] = level_of(r, threshold, x, y);
            field->fluid[at] =
                inside && r->taken[(size_t)y * (size_t)r->picture->width + (size_t)x];
        }
}

/* 1, 4, 6, 4, 1 sixteenths of the values `stride` apart; the rim stays as it is. */
static void smooth(const float *from, float *to, const nrw_mask_field *field, size_t stride)
{
    size_t width = (size_t)field->width, height = (size_t)field->height;
    memcpy(to, from, width * height * sizeof *to);
    for (size_t j = 2; j + 2 < height; j++)
        for (size_t i = 2; i + 2 < width; i++) {
            const float *at = &from[j * width + i];
            to[j * width + i] = (*(at - 2 * stride) + at[2 * stride] +
                                 4.0f * (*(at - stride) + at[stride]) + 6.0f * *at) /
                                16.0f;
        }
}

static nrw_status smooth_levels(nrw_mask_field *field)
{
    size_t n = (size_t)field->width * (size_t)field->height;
    float *other = malloc(n * sizeof *other);
    if (!other)
        return NRW_NO_MEMORY;
    smooth(field->level, other, field, 1);
    smooth(other, field->level, field, (size_t)field->width);
    free(other);
    for (size_t k = 0; k < n; k++) {
        float least = NRW_MASK_LEVEL + KEPT, most = NRW_MASK_LEVEL - KEPT;
        if (field->fluid[k])
            field->level[k] = field->level[k] > least ? field->level[k] : least;
        else
            field->level[k] = field->level[k] < most ? field->level[k] : most;
    }
    return NRW_OK;
}

static nrw_status build(region *r, double threshold, const double seed[2], nrw_mask_field *field)
{
    size_t pixels = (size_t)r->picture->width * (size_t)r->picture->height;
    double level = ceil(threshold * 65535.0);
    r->level = (uint16_t)fmin(fmax(level, 1.0), 65535.0);
    long start = nearest_fluid(r, seed);
    if (start < 0)
        return NRW_BAD_INPUT;
    r->taken = calloc(pixels, 1);
    nrw_status status = r->taken ? fill_region(r, start) : NRW_NO_MEMORY;
    if (status != NRW_OK)
        return status;
    field->x0 = r->bounds[0] - RIM;
    field->y0 = r->bounds[1] - RIM;
    field->width = r->bounds[2] - r->bounds[0] + 1 + 2 * RIM;
    field->height = r->bounds[3] - r->bounds[1] + 1 + 2 * RIM;
    field->n_fluid = r->n_taken;
    size_t n = (size_t)field->width * (size_t)field->height;
    field->level = malloc(n * sizeof *field->level);
    field->fluid = malloc(n);
    if (!field->level || !field->fluid)
        return NRW_NO_MEMORY;
    copy_levels(r, threshold, field);
    return smooth_levels(field);
}

nrw_status nrw_mask_field_build(const nrw_picture *picture, double threshold,
                                const double seed_px[2], nrw_mask_field *field)
{
    region r = {.picture = picture};
    memset(field, 0, sizeof *field);
    nrw_status status = build(&r, threshold, seed_px, field);
    free(r.taken);
    if (status != NRW_OK)
        nrw_mask_field_clear(field);
    return status;
}

double nrw_mask_field_level(const nrw_mask_field *field, double x_px, double y_px)
{
    double x = x_px - 0.5 - field->x0, y = y_px - 0.5 - field->y0;
    if (!(x >= 0.0 && y >= 0.0 && x < field->width - 1 && y < field->height - 1))
        return 0.0;
    int i = (int)x, j = (int)y;
    double u = x - i, v = y - j;
    const float *at = &field->level[(size_t)j * (size_t)field->width + (size_t)i];
    double low = (1.0 - u) * (double)at[0] + u * (double)at[1];
    double high = (1.0 - u) * (double)at[field->width] + u * (double)at[field->width + 1];
    return (1.0 - v) * low + v * high;
}
