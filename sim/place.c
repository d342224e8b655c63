#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "random.h"
#include "units.h"
#include "world.h"

/* Places that are taken, in square cells of a side that no two of a cell's neighbours'
 * neighbours can come closer over than they may. */
typedef struct taken {
    size_t side;     /* cells along an edge */
    double per_um;   /* cells */
    double low[2];   /* corner, µm */
    uint32_t *first; /* (side²) one more than the last place put into a cell; 0: none */
    uint32_t *next;  /* (n) ... and than the one before it */
} taken;

static bool taken_init(taken *all, const double centre[2], double radius_um, double apart_um,
                       size_t n)
{
    const double edge = fmax(apart_um, 2.0 * radius_um / ceil(sqrt((double)n)));
    all->side = (size_t)(2.0 * radius_um / edge) + 2;
    all->per_um = 1.0 / edge;
    all->low[0] = centre[0] - radius_um;
    all->low[1] = centre[1] - radius_um;
    all->first = calloc(all->side * all->side, sizeof *all->first);
    all->next = malloc(n * sizeof *all->next);
    return all->first && all->next;
}

static size_t cell_along(const taken *all, int axis, double at)
{
    const double cell = (at - all->low[axis]) * all->per_um;
    return cell > 0.0 ? (size_t)fmin(cell, (double)all->side - 1.0) : 0;
}

static bool is_free(const taken *all, const double *x, const double *y, double px, double py,
                    double apart_um)
{
    const size_t cx = cell_along(all, 0, px), cy = cell_along(all, 1, py);
    for (size_t row = cy > 0 ? cy - 1 : 0; row <= cy + 1 && row < all->side; row++)
        for (size_t column = cx > 0 ? cx - 1 : 0; column <= cx + 1 && column < all->side; column++)
            for (uint32_t at = all->first[row * all->side + column]; at; at = all->next[at - 1])
                if (!(hypot(px - x[at - 1], py - y[at - 1]) >= apart_um))
                    return false;
    return true;
}

static void take(taken *all, size_t place, double px, double py)
{
    const size_t cell = cell_along(all, 1, py) * all->side + cell_along(all, 0, px);
    all->next[place] = all->first[cell];
    all->first[cell] = (uint32_t)place + 1;
}

/* Random sequential addition; false when it jams (above about half the plane) or there is
 * no memory. */
static bool add_at_random(const nrw_channel *channel, const double centre[2], double radius_um,
                          double apart_um, double clear_um, uint64_t seed, size_t n, double *x,
                          double *y)
{
    const double inner = radius_um - 0.5 * apart_um;
    const double share = (double)n * apart_um * apart_um / (4.0 * radius_um * radius_um);
    const uint32_t most = share < 0.45 && n <= 20000 ? (uint32_t)(400 * n) : 0;
    taken all = {0};
    size_t placed = 0;
    if (most > 0 && taken_init(&all, centre, radius_um, apart_um, n))
        for (uint32_t tries = 0; placed < n && tries < most; tries++) {
            const double r = inner * sqrt(nrw_uniform(seed, NRW_STREAM_START, tries, 3));
            const double angle = 2.0 * NRW_PI * nrw_uniform(seed, NRW_STREAM_START, tries, 4);
            const double px = centre[0] + r * cos(angle), py = centre[1] + r * sin(angle);
            if (nrw_channel_distance_um(channel, px, py, NULL) < clear_um ||
                !is_free(&all, x, y, px, py, apart_um))
                continue;
            take(&all, placed, px, py);
            x[placed] = px;
            y[placed++] = py;
        }
    free(all.first);
    free(all.next);
    return placed == n;
}

bool nrw_place_in_circle(const nrw_channel *channel, const double centre[2], double radius_um,
                         double apart_um, double clear_um, uint64_t seed, size_t n, double *x,
                         double *y)
{
    const double inner = radius_um - 0.5 * apart_um;
    if (n == 1) {
        x[0] = centre[0];
        y[0] = centre[1];
        return true;
    }
    if (!(inner > 0.0))
        return false;
    if (add_at_random(channel, centre, radius_um, apart_um, clear_um, seed, n, x, y))
        return true;
    /* sites of a triangular lattice with a random origin and turn */

    /* the widest spacing that still gives n sites: bisect on it */
    const double turn = NRW_PI / 3.0 * nrw_uniform(seed, NRW_STREAM_START, 0, 5);
    const double shift_a = nrw_uniform(seed, NRW_STREAM_START, 0, 6);
    const double shift_b = nrw_uniform(seed, NRW_STREAM_START, 0, 7);
    double low = apart_um, high = 2.0 * radius_um;
    bool fits = false;
    for (int round = 0; round < 40; round++) {
        double spacing = round == 0 ? low : 0.5 * (low + high);
        size_t sites = 0;
        long reach = (long)ceil(2.0 * radius_um / spacing) + 2;
        for (long a = -reach; a <= reach; a++) {
            for (long b = -reach; b <= reach; b++) {
                double lx = spacing * ((double)a + shift_a + 0.5 * ((double)b + shift_b));
                double ly = spacing * 0.8660254037844386 * ((double)b + shift_b);
                if (hypot(lx, ly) > inner)
                    continue;
                double px = centre[0] + lx * cos(turn) - ly * sin(turn);
                double py = centre[1] + lx * sin(turn) + ly * cos(turn);
                if (nrw_channel_distance_um(channel, px, py, NULL) < clear_um)
                    continue;
                if (sites < n) {
                    x[sites] = px;
                    y[sites] = py;
                }
                sites++;
            }
        }
        if (sites >= n) {
            fits = true;
            low = spacing;
        } else if (round == 0) {
            return false;
        } else {
            high = spacing;
        }
        if (fits && sites >= n && (high - low < 1e-3 * apart_um || round > 20))
            return true;
    }
    return fits;
}
