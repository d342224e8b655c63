/* What a sweep leaves behind: sweep.csv, repeats.csv, figures, words. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"
#include "sweep.h"

void nrw_sweep_point_words(const nrw_sweep *sweep, size_t point, size_t n, char *text, size_t size)
{
    size_t used = 0;
    text[0] = '\0';
    for (size_t k = 0; k < n && used < size; k++)
        used += (size_t)snprintf(text + used, size - used, "%s%s %g", k > 0 ? ", " : "",
                                 sweep->keys[k].key, nrw_sweep_value(sweep, point, k));
}

/* --- files -------------------------------------------------------------------------- */

/* "KEY,...,MIDDLE,FEATURE,...,END". The caller frees it; NULL: no memory. */
static char *header_of(const nrw_sweep *sweep, const char *middle, const char *end)
{
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (!file)
        return NULL;
    for (size_t k = 0; k < sweep->n_keys; k++)
        (void)fprintf(file, "%s,", sweep->keys[k].key);
    (void)fprintf(file, "%s", middle);
    for (int k = 0; k < NRW_N_FEATURES; k++)
        (void)fprintf(file, ",%s", nrw_state_feature_name(k));
    (void)fprintf(file, "%s", end);
    if (fclose(file) == 0)
        return text;
    free(text);
    return NULL;
}

static void csv_place(nrw_csv *csv, const nrw_sweep_map *map, const nrw_sweep_row *row)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    for (size_t k = 0; k < sweep->n_keys; k++)
        nrw_csv_number(csv, nrw_sweep_value(sweep, row->point, k));
    nrw_csv_text(csv, nrw_sweep_way_name(row->way));
}

static void csv_features(nrw_csv *csv, const nrw_state_features *features)
{
    nrw_state_features copy = *features;
    for (int k = 0; k < NRW_N_FEATURES; k++)
        nrw_csv_number(csv, *nrw_state_feature(&copy, k));
}

static double agreement_of(const nrw_sweep_row *row)
{
    return row->n_done > 0 ? (double)row->n_agree / (double)row->n_done : NAN;
}

static const char *state_of(const nrw_sweep_row *row)
{
    if (row->beyond_rig)
        return "beyond_rig";
    if (row->n_done == 0 && row->n_failed > 0)
        return "failed";
    return row->n_done > 0 ? nrw_state_name(row->state) : NULL;
}

static void write_rows(nrw_csv *csv, const nrw_sweep_map *map)
{
    for (size_t r = 0; r < map->n_rows; r++) {
        const nrw_sweep_row *row = &map->rows[r];
        csv_place(csv, map, row);
        nrw_csv_text(csv, state_of(row));
        nrw_csv_number(csv, agreement_of(row));
        nrw_csv_integer(csv, (int64_t)row->n_done);
        nrw_csv_integer(csv, (int64_t)row->n_failed);
        csv_features(csv, &row->mean);
        nrw_csv_number(csv, row->cohesion_least);
        nrw_csv_number(csv, row->speed_deviation_um_s);
        nrw_csv_number(csv, row->gather_s);
        nrw_csv_end_record(csv);
    }
}

static void write_repeats(nrw_csv *csv, const nrw_sweep_map *map)
{
    for (size_t r = 0; r < map->n_rows; r++)
        for (size_t k = 0; k < map->n_repeats; k++) {
            const nrw_sweep_repeat *at = &map->repeats[r * map->n_repeats + k];
            if (!at->done)
                continue;
            csv_place(csv, map, &map->rows[r]);
            nrw_csv_integer(csv, (int64_t)k);
            nrw_csv_integer(csv, (int64_t)map->seeds[k]);
            nrw_csv_text(csv, at->failed ? "failed" : nrw_state_name(at->state));
            csv_features(csv, &at->seen);
            nrw_csv_number(csv, at->gather_s);
            nrw_csv_end_record(csv);
        }
}

static nrw_status write_file(nrw_store *store, const nrw_sweep_map *map, const char *name,
                             const char *middle, const char *end,
                             void (*write)(nrw_csv *csv, const nrw_sweep_map *map),
                             nrw_errors *errors)
{
    FILE *file;
    nrw_csv csv;
    char *header = header_of(&map->scenario->sweep, middle, end);
    if (!header)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    nrw_status status = nrw_store_file_open(store, name, &file, errors);
    if (status == NRW_OK) {
        nrw_csv_begin(&csv, file, header);
        write(&csv, map);
        status = nrw_store_file_close(store, name, file, errors);
    }
    free(header);
    return status;
}

nrw_status nrw_sweep_csv(nrw_store *store, const nrw_sweep_map *map, nrw_errors *errors)
{
    nrw_status status =
        write_file(store, map, "sweep.csv", "way,state,agreement,repeats,failed",
                   ",cohesion_least,speed_deviation_um_s,gather_time_s", write_rows, errors);
    if (status == NRW_OK)
        status = write_file(store, map, "repeats.csv", "way,repeat,seed,state", ",gather_time_s",
                            write_repeats, errors);
    return status;
}

/* --- figures ------------------------------------------------------------------------- */

static void add_states(nrw_result *result, const nrw_sweep_map *map)
{
    nrw_result_open_object(result, "states");
    for (int s = 0; s < NRW_N_STATES; s++) {
        int64_t n = 0;
        for (size_t r = 0; r < map->n_rows; r++)
            n += map->rows[r].n_done > 0 && map->rows[r].state == (nrw_state)s;
        if (n > 0)
            nrw_result_integer(result, nrw_state_name((nrw_state)s), n);
    }
    size_t n_failed = 0;
    for (size_t r = 0; r < map->n_rows; r++)
        n_failed += map->rows[r].n_done == 0 && map->rows[r].n_failed > 0;
    if (n_failed > 0)
        nrw_result_integer(result, "failed", (int64_t)n_failed);
    if (map->n_beyond_rig > 0)
        nrw_result_integer(result, "beyond_rig", (int64_t)map->n_beyond_rig);
    nrw_result_close(result);
}

static void add_point(nrw_result *result, const nrw_sweep *sweep, size_t point, size_t n_keys)
{
    nrw_result_open_object(result, "at");
    for (size_t k = 0; k < n_keys; k++)
        nrw_result_number(result, sweep->keys[k].key, nrw_sweep_value(sweep, point, k));
    nrw_result_close(result);
}

static void add_edges(nrw_result *result, const nrw_sweep_map *map)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    const nrw_state_limits limits = nrw_state_limits_defaults();
    nrw_cohesion_edge *edges = calloc(map->n_rows + 1, sizeof *edges);
    nrw_result_open_array(result, "cohesion_lost");
    const size_t n = edges ? nrw_sweep_edges(map, &limits, edges, map->n_rows) : 0;
    const size_t last = sweep->n_keys - 1;
    for (size_t k = 0; k < n; k++) {
        const double between[] = {nrw_sweep_value(sweep, edges[k].last_held, last),
                                  nrw_sweep_value(sweep, edges[k].first_lost, last)};
        nrw_result_open_object(result, NULL);
        add_point(result, sweep, edges[k].last_held, last);
        nrw_result_string(result, "way", nrw_sweep_way_name(edges[k].way));
        nrw_result_string(result, "key", sweep->keys[last].key);
        nrw_result_numbers(result, "between", 2, between);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    free(edges);
}

static bool differs(const nrw_sweep_row *up, const nrw_sweep_row *down)
{
    return up && down && up->n_done > 0 && down->n_done > 0 && up->state != down->state;
}

static void add_hysteresis(nrw_result *result, const nrw_sweep_map *map)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    nrw_result_open_array(result, "hysteresis");
    for (size_t point = 0; point < map->n_points; point++) {
        const nrw_sweep_row *up = nrw_sweep_find(map, point, NRW_SWEEP_UP);
        const nrw_sweep_row *down = nrw_sweep_find(map, point, NRW_SWEEP_DOWN);
        if (!differs(up, down))
            continue;
        nrw_result_open_object(result, NULL);
        add_point(result, sweep, point, sweep->n_keys);
        nrw_result_string(result, "up", nrw_state_name(up->state));
        nrw_result_string(result, "down", nrw_state_name(down->state));
        nrw_result_number(result, "cohesion_up", up->mean.cohesion);
        nrw_result_number(result, "cohesion_down", down->mean.cohesion);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static double mean_agreement(const nrw_sweep_map *map)
{
    double sum = 0.0;
    size_t n = 0;
    for (size_t r = 0; r < map->n_rows; r++) {
        if (map->rows[r].n_done == 0)
            continue;
        sum += agreement_of(&map->rows[r]);
        n++;
    }
    return n > 0 ? sum / (double)n : NAN;
}

void nrw_sweep_figures(nrw_result *result, const nrw_sweep_map *map)
{
    if (map->n_rows == 0) {
        nrw_result_null(result, "points");
        nrw_result_null(result, "states");
        return;
    }
    nrw_result_integer(result, "points", (int64_t)map->n_rows);
    add_states(result, map);
    nrw_result_integer(result, "grid_points", (int64_t)map->n_points);
    nrw_result_integer(result, "repeats", (int64_t)map->n_repeats);
    nrw_result_number(result, "agreement", mean_agreement(map));
    add_edges(result, map);
    if (map->both_ways)
        add_hysteresis(result, map);
}

/* --- words ------------------------------------------------------------------------------ */

/* Longest name of a point, for the table's first column. */
static int point_width(const nrw_sweep_map *map)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    size_t width = strlen("point");
    for (size_t point = 0; point < map->n_points; point++) {
        char text[256];
        nrw_sweep_point_words(sweep, point, sweep->n_keys, text, sizeof text);
        width = strlen(text) > width ? strlen(text) : width;
    }
    return (int)width;
}

static void describe_rows(const nrw_sweep_map *map, FILE *stream)
{
    const int width = point_width(map);
    (void)fprintf(stream, "  %-*s %-6s %-13s %7s %9s %9s %7s %8s\n", width, "point", "way", "state",
                  "agree", "cohesion", "um/s", "aspect", "stacking");
    for (size_t r = 0; r < map->n_rows; r++) {
        const nrw_sweep_row *row = &map->rows[r];
        const nrw_state_features *mean = &row->mean;
        char point[256];
        nrw_sweep_point_words(&map->scenario->sweep, row->point, map->scenario->sweep.n_keys, point,
                              sizeof point);
        if (row->n_done == 0)
            (void)fprintf(stream, "  %-*s %-6s %s\n", width, point, nrw_sweep_way_name(row->way),
                          row->beyond_rig     ? "beyond the rig"
                          : row->n_failed > 0 ? "failed"
                                              : "not done");
        else
            (void)fprintf(stream, "  %-*s %-6s %-13s %4zu/%-2zu %9.2f %9.2f %7.2f %8.2f\n", width,
                          point, nrw_sweep_way_name(row->way), nrw_state_name(row->state),
                          row->n_agree, row->n_done, mean->cohesion, mean->speed_um_s,
                          mean->aspect_ratio, mean->stacking);
    }
}

static void describe_edges(const nrw_sweep_map *map, FILE *stream)
{
    const nrw_sweep *sweep = &map->scenario->sweep;
    const nrw_state_limits limits = nrw_state_limits_defaults();
    const size_t last = sweep->n_keys - 1;
    nrw_cohesion_edge *edges = calloc(map->n_rows + 1, sizeof *edges);
    const size_t n = edges ? nrw_sweep_edges(map, &limits, edges, map->n_rows) : 0;
    for (size_t k = 0; k < n; k++) {
        char point[256];
        nrw_sweep_point_words(sweep, edges[k].last_held, last, point, sizeof point);
        (void)fprintf(stream, "%sCohesion is lost between %s %g and %g%s%s%s.\n",
                      k == 0 ? "\n" : "", sweep->keys[last].key,
                      nrw_sweep_value(sweep, edges[k].last_held, last),
                      nrw_sweep_value(sweep, edges[k].first_lost, last), last > 0 ? " at " : "",
                      point, edges[k].way == NRW_SWEEP_DOWN ? " (way down)" : "");
    }
    if (n == 0)
        (void)fprintf(stream, "\nAlong %s cohesion falls below %g nowhere.\n",
                      sweep->keys[last].key, limits.cohesive);
    free(edges);
}

static void describe_hysteresis(const nrw_sweep_map *map, FILE *stream)
{
    size_t n = 0;
    for (size_t point = 0; map->both_ways && point < map->n_points; point++)
        n += differs(nrw_sweep_find(map, point, NRW_SWEEP_UP),
                     nrw_sweep_find(map, point, NRW_SWEEP_DOWN));
    if (map->both_ways)
        (void)fprintf(stream, "The state depends on the way it is reached at %zu of %zu points.\n",
                      n, map->n_points);
}

void nrw_sweep_describe(const nrw_sweep_map *map, FILE *stream)
{
    if (map->n_rows == 0) {
        (void)fprintf(stream, "Nothing was swept.\n");
        return;
    }
    (void)fprintf(stream, "%zu points, %zu repeats each, %g s at each setting.\n\n", map->n_points,
                  map->n_repeats, map->scenario->sweep.seconds);
    describe_rows(map, stream);
    describe_edges(map, stream);
    describe_hysteresis(map, stream);
}
