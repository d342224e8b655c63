/* State maps: what is known of a grid once its repeats are in. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "statistics.h"
#include "sweep.h"

const char *nrw_sweep_way_name(nrw_sweep_way way)
{
    static const char *const names[] = {"alone", "up", "down"};
    return names[way];
}

void nrw_sweep_map_clear(nrw_sweep_map *map)
{
    for (size_t k = 0; map->repeats && k < map->n_rows * map->n_repeats; k++)
        free(map->repeats[k].failure);
    free(map->rows);
    free(map->repeats);
    free(map->seeds);
    memset(map, 0, sizeof *map);
}

double nrw_sweep_value(const nrw_sweep *sweep, size_t point, size_t k)
{
    for (size_t after = sweep->n_keys; after-- > k + 1;)
        point /= sweep->keys[after].n_values;
    return sweep->keys[k].values[point % sweep->keys[k].n_values];
}

const nrw_sweep_row *nrw_sweep_find(const nrw_sweep_map *map, size_t point, nrw_sweep_way way)
{
    if (map->both_ways == (way == NRW_SWEEP_ALONE))
        return NULL;
    const size_t row = map->both_ways ? 2 * point + (way == NRW_SWEEP_DOWN) : point;
    return row < map->n_rows ? &map->rows[row] : NULL;
}

size_t nrw_sweep_per_line(const nrw_sweep *sweep)
{
    return sweep->keys[sweep->n_keys - 1].n_values;
}

/* --- rows ----------------------------------------------------------------------------------------
 */

static void average_features(nrw_sweep_row *row, size_t n, nrw_sweep_repeat *repeats)
{
    for (int k = 0; k < NRW_N_FEATURES; k++) {
        double sum = 0.0;
        size_t n_known = 0;
        for (size_t r = 0; r < n; r++) {
            const double value = *nrw_state_feature(&repeats[r].seen, k);
            if (!repeats[r].done || repeats[r].failed || isnan(value))
                continue;
            sum += value;
            n_known++;
        }
        *nrw_state_feature(&row->mean, k) = n_known > 0 ? sum / (double)n_known : NAN;
    }
}

static void summarise_row(nrw_sweep_row *row, size_t n, nrw_sweep_repeat *repeats)
{
    size_t counts[NRW_N_STATES] = {0};
    nrw_running speeds = {0}, gathers = {0};
    row->cohesion_least = row->speed_deviation_um_s = row->gather_s = NAN;
    row->n_done = row->n_failed = row->n_agree = 0;
    for (size_t r = 0; r < n; r++) {
        const nrw_sweep_repeat *at = &repeats[r];
        if (!at->done)
            continue;
        if (!isnan(at->gather_s))
            nrw_running_add(&gathers, at->gather_s);
        row->n_failed += at->failed;
        if (at->failed)
            continue;
        row->n_done++;
        counts[at->state]++;
        nrw_running_add(&speeds, at->seen.speed_um_s);
        row->cohesion_least = fmin(row->cohesion_least, at->seen.cohesion);
    }
    average_features(row, n, repeats);
    if (gathers.n > 0)
        row->gather_s = gathers.mean;
    if (speeds.n > 1)
        row->speed_deviation_um_s = sqrt(nrw_running_variance(&speeds));
    row->state = NRW_STATE_UNCLASSIFIED;
    for (int s = 0; s < NRW_N_STATES; s++) {
        row->n_agree = counts[s] > row->n_agree ? counts[s] : row->n_agree;
        if (2 * counts[s] > row->n_done)
            row->state = (nrw_state)s;
    }
}

static void note_failure(nrw_sweep_map *map, size_t row, size_t repeat)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    const char *failure = map->repeats[row * map->n_repeats + repeat].failure;
    char point[128];
    nrw_sweep_point_words(sweep, map->rows[row].point, sweep->n_keys, point, sizeof point);
    (void)snprintf(map->failure, sizeof map->failure, "%.100s, repeat %zu: %.120s", point, repeat,
                   failure ? failure : "");
}

void nrw_sweep_summarise(nrw_sweep_map *map)
{
    map->n_failed = map->n_not_gathered = 0;
    map->failure[0] = '\0';
    for (size_t r = 0; r < map->n_rows; r++) {
        nrw_sweep_repeat *repeats = map->repeats + r * map->n_repeats;
        summarise_row(&map->rows[r], map->n_repeats, repeats);
        for (size_t k = 0; k < map->n_repeats; k++) {
            map->n_failed += repeats[k].done && repeats[k].failed;
            map->n_not_gathered +=
                repeats[k].done && !repeats[k].failed && isnan(repeats[k].gather_s);
            if (repeats[k].done && repeats[k].failed && map->failure[0] == '\0')
                note_failure(map, r, k);
        }
    }
}

size_t nrw_sweep_edges(const nrw_sweep_map *map, const nrw_state_limits *limits,
                       nrw_cohesion_edge *edges, size_t most)
{
    const size_t n = nrw_sweep_per_line(&map->scenario->sweep);
    size_t n_edges = 0;
    for (int way = 0; way <= NRW_SWEEP_DOWN; way++)
        for (size_t point = 0; point + 1 < map->n_points && n_edges < most; point++) {
            const nrw_sweep_row *a = nrw_sweep_find(map, point, (nrw_sweep_way)way);
            const nrw_sweep_row *b = nrw_sweep_find(map, point + 1, (nrw_sweep_way)way);
            if (!a || !b || point % n == n - 1)
                continue;
            if (a->mean.cohesion >= limits->cohesive && b->mean.cohesion < limits->cohesive)
                edges[n_edges++] = (nrw_cohesion_edge){point, point + 1, (nrw_sweep_way)way};
        }
    return n_edges;
}
