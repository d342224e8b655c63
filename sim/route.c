#include "route.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void nrw_route_clear(nrw_route *route)
{
    free(route->points);
    free(route->widths);
    free(route->node_s_um);
    free(route->has_vessel);
    memset(route, 0, sizeof *route);
}

double nrw_route_length_um(const nrw_route *route)
{
    return route->points[route->n_points - 1].s_um;
}

/* Last point at or before s; the first one before the start, the last but one
 * past the end. */
static const nrw_route_point *piece_at(const nrw_route *route, double s)
{
    size_t low = 0, high = route->n_points - 1; /* the piece starts in [low, high) */
    while (high - low > 1 && low < high) {
        size_t middle = low + (high - low) / 2;
        if (route->points[middle].s_um <= s)
            low = middle;
        else
            high = middle;
    }
    return &route->points[low];
}

void nrw_route_at(const nrw_route *route, double s_um, double at_um[2], double direction[2])
{
    const nrw_route_point *point = piece_at(route, s_um);
    for (int k = 0; k < 2; k++) {
        if (at_um)
            at_um[k] = point->at_um[k] + (s_um - point->s_um) * point->along[k];
        if (direction)
            direction[k] = point->along[k];
    }
}

double nrw_route_project_um(const nrw_route *route, double x_um, double y_um)
{
    const nrw_route_point *points = route->points;
    double best = INFINITY, s = 0.0;
    size_t last = route->n_points - 1;
    for (size_t i = 0; i < last || i == 0; i++) {
        const nrw_route_point *p = &points[i];
        double rx = x_um - p->at_um[0], ry = y_um - p->at_um[1];
        double t = rx * p->along[0] + ry * p->along[1];
        double piece = i < last ? points[i + 1].s_um - p->s_um : 0.0;
        double inside = fmin(fmax(t, 0.0), piece);
        double dx = rx - inside * p->along[0], dy = ry - inside * p->along[1];
        double square = dx * dx + dy * dy;
        if (square >= best)
            continue;
        best = square;
        bool before = i == 0 && t < 0.0, after = i + 1 >= last && t > piece;
        s = p->s_um + (before || after ? t : inside);
    }
    return s;
}

double nrw_route_width_um(const nrw_route *route, double s_um)
{
    const nrw_route_width *w = route->widths;
    size_t n = route->n_widths;
    if (n == 0)
        return INFINITY;
    if (s_um <= w[0].s_um)
        return w[0].width_um;
    if (s_um >= w[n - 1].s_um)
        return w[n - 1].width_um;
    size_t low = 0, high = n - 1; /* w[low].s <= s < w[high].s */
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (w[middle].s_um <= s_um)
            low = middle;
        else
            high = middle;
    }
    double t = (s_um - w[low].s_um) / (w[high].s_um - w[low].s_um);
    return (1.0 - t) * w[low].width_um + t * w[high].width_um;
}

/* Narrowest width among samples [from, to], and the middle of the first stretch
 * that narrow. */
static double narrowest_between(const nrw_route *route, size_t from, size_t to, double *s_um)
{
    const nrw_route_width *w = route->widths;
    size_t first = from;
    for (size_t i = from; i <= to; i++)
        if (w[i].width_um < w[first].width_um)
            first = i;
    size_t last = first;
    double same = w[first].width_um * (1.0 + 1e-9);
    while (last < to && w[last + 1].width_um <= same)
        last++;
    *s_um = 0.5 * (w[first].s_um + w[last].s_um);
    return w[first].width_um;
}

double nrw_route_narrowest_um(const nrw_route *route, double *s_um)
{
    *s_um = 0.0;
    return route->n_widths ? narrowest_between(route, 0, route->n_widths - 1, s_um) : INFINITY;
}

/* Position between two samples at which the width is `width`; they lie on both
 * sides of it. At a jump both positions are the same. */
static double crossing(const nrw_route_width *a, const nrw_route_width *b, double width)
{
    double t = (a->width_um - width) / (a->width_um - b->width_um);
    return (1.0 - t) * a->s_um + t * b->s_um;
}

nrw_status nrw_route_throats(const nrw_route *route, double gathered_um, nrw_throat **throats,
                             size_t *n_throats)
{
    const nrw_route_width *w = route->widths;
    size_t n = route->n_widths;
    *n_throats = 0;
    *throats = malloc((n / 2 + 1) * sizeof **throats);
    if (!*throats)
        return NRW_NO_MEMORY;
    for (size_t i = 0; i < n; i++) {
        if (!(w[i].width_um < gathered_um))
            continue;
        size_t last = i;
        while (last + 1 < n && w[last + 1].width_um < gathered_um)
            last++;
        nrw_throat throat = {.entry_um = w[i].s_um, .exit_um = w[last].s_um};
        if (i > 0)
            throat.entry_um = crossing(&w[i - 1], &w[i], gathered_um);
        if (last + 1 < n)
            throat.exit_um = crossing(&w[last], &w[last + 1], gathered_um);
        throat.narrowest_um = narrowest_between(route, i, last, &throat.at_route_um);
        nrw_route_at(route, throat.at_route_um, throat.at_um, NULL);
        if (throat.exit_um > throat.entry_um)
            (*throats)[(*n_throats)++] = throat;
        i = last;
    }
    return NRW_OK;
}
