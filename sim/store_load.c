/* A run read back from its results folder. */
#include "trajectory.h"

#include <hdf5.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"
#include "result.h"

static nrw_status no_memory(nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for reading results");
}

static nrw_status malformed(const char *dir, const char *name, const char *what, nrw_errors *errors)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    return nrw_errors_add_at(errors, NRW_BAD_INPUT, path, 0, 0, "",
                             "a file as `narrows run` writes it", "%s", what);
}

static nrw_status read_csv(const char *dir, const char *name, nrw_csv_table *table,
                           nrw_errors *errors)
{
    char *text;
    size_t size;
    memset(table, 0, sizeof *table);
    nrw_status status = nrw_store_read(dir, name, &text, &size, errors);
    if (status != NRW_OK)
        return status;
    size_t wrong = nrw_csv_parse(text, size, table);
    free(text);
    if (wrong == SIZE_MAX)
        return no_memory(errors);
    if (wrong == 0 && table->n_records > 0)
        return NRW_OK;
    char what[64];
    (void)snprintf(what, sizeof what, "record %zu is malformed", wrong);
    return malformed(dir, name, wrong ? what : "the file is empty", errors);
}

/* --- final.csv ------------------------------------------------------------ */

static bool find_fate(const char *name, nrw_fate *fate)
{
    for (int i = 0; i < NRW_N_FATES; i++) {
        *fate = (nrw_fate)i;
        if (strcmp(name, nrw_fate_name(*fate)) == 0)
            return true;
    }
    return false;
}

static nrw_status take_particles(const char *dir, const nrw_csv_table *table, nrw_run_result *run,
                                 nrw_errors *errors)
{
    static const char *const names[] = {"x_um", "y_um", "z_um", "moment_x", "moment_y", "moment_z"};
    double **columns[] = {&run->x_um,     &run->y_um,     &run->z_um,
                          &run->moment_x, &run->moment_y, &run->moment_z};
    size_t n = table->n_records - 1;
    run->fates = calloc(n + 1, sizeof *run->fates);
    run->radius_um = calloc(n + 1, sizeof *run->radius_um);
    if (!run->fates || !run->radius_um)
        return no_memory(errors);
    for (size_t c = 0; c < sizeof names / sizeof *names; c++) {
        int column = nrw_csv_column(table, names[c]);
        if (column < 0)
            return malformed(dir, "final.csv", "a column is missing", errors);
        if (!(*columns[c] = calloc(n + 1, sizeof(double))))
            return no_memory(errors);
        for (size_t i = 0; i < n; i++)
            (*columns[c])[i] = nrw_csv_value(table, i + 1, column);
    }
    int fate = nrw_csv_column(table, "fate");
    for (size_t i = 0; i < n; i++) {
        if (!find_fate(nrw_csv_field(table, i + 1, fate), &run->fates[i]))
            return malformed(dir, "final.csv", "a fate has no known name", errors);
        run->fate_fraction[run->fates[i]] += 1;
    }
    for (int i = 0; i < NRW_N_FATES; i++)
        run->fate_fraction[i] /= n ? (double)n : 1;
    run->n_particles = n;
    return NRW_OK;
}

/* --- morphology.csv ------------------------------------------------------- */

static int find_leg(const nrw_schedule *schedule, const char *name)
{
    for (size_t i = 0; i < schedule->n_legs; i++)
        if (strcmp(schedule->legs[i].name, name) == 0)
            return (int)i;
    return -1;
}

static void take_frame(const nrw_csv_table *table, size_t record, nrw_frame *frame)
{
    struct {
        const char *name;
        double *value;
    } columns[] = {{"time_s", &frame->time_s},
                   {"x_um", &frame->seen.x_um},
                   {"y_um", &frame->seen.y_um},
                   {"major_um", &frame->seen.major_um},
                   {"minor_um", &frame->seen.minor_um},
                   {"angle_deg", &frame->seen.angle_deg},
                   {"aspect_ratio", &frame->seen.aspect_ratio},
                   {"spread_um", &frame->seen.spread_um},
                   {"width_across_um", &frame->seen.width_across_um},
                   {"front_um", &frame->seen.front_um},
                   {"tail_um", &frame->seen.tail_um},
                   {"largest_cluster_fraction", &frame->seen.largest_cluster_fraction},
                   {"neighbour_distance_um", &frame->seen.neighbour_distance_um},
                   {"speed_um_s", &frame->speed_um_s}};
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++)
        *columns[i].value = nrw_csv_value(table, record, nrw_csv_column(table, columns[i].name));
    frame->seen.visible = nrw_csv_value(table, record, nrw_csv_column(table, "visible")) > 0;
    frame->seen.rear_x_um = frame->seen.rear_y_um = frame->seen.visible_area_um2 = NAN;
}

static nrw_status take_frames(const char *dir, const nrw_csv_table *table,
                              const nrw_schedule *schedule, nrw_run_result *run, nrw_errors *errors)
{
    run->n_frames = table->n_records - 1;
    run->frames = calloc(run->n_frames + 1, sizeof *run->frames);
    if (!run->frames)
        return no_memory(errors);
    int leg = nrw_csv_column(table, "leg");
    for (size_t i = 0; i < run->n_frames; i++) {
        take_frame(table, i + 1, &run->frames[i]);
        run->frames[i].leg = find_leg(schedule, nrw_csv_field(table, i + 1, leg));
        if (run->frames[i].leg < 0)
            return malformed(dir, "morphology.csv", "a leg is not in schedule.yaml", errors);
    }
    if (run->n_frames > 0)
        run->final = run->frames[run->n_frames - 1].seen;
    return NRW_OK;
}

/* --- trajectory.h5 -------------------------------------------------------- */

/* Reads a whole dataset whose shape must be `shape`, except that a 0 there
 * takes what it finds. NULL on failure. The caller frees it. */
static void *read_data(hid_t file, const char *path, hid_t type, int rank, hsize_t *shape)
{
    enum { RANK_MAX = 3 };
    hsize_t found[RANK_MAX];
    void *values = NULL;
    hid_t data = H5Dopen2(file, path, H5P_DEFAULT);
    hid_t space = H5Dget_space(data);
    if (H5Sget_simple_extent_ndims(space) == rank &&
        H5Sget_simple_extent_dims(space, found, NULL) == rank) {
        hsize_t n = 1;
        bool fits = true;
        for (int i = 0; i < rank; i++) {
            fits = fits && (shape[i] == 0 || shape[i] == found[i]);
            shape[i] = found[i];
            n *= found[i];
        }
        values = fits ? calloc((size_t)n + 1, H5Tget_size(type)) : NULL;
        if (values && n > 0 && H5Dread(data, type, H5S_ALL, H5S_ALL, H5P_DEFAULT, values) < 0) {
            free(values);
            values = NULL;
        }
    }
    (void)H5Sclose(space);
    (void)H5Dclose(data);
    return values;
}

static bool take_trajectory(hid_t file, nrw_run_result *run)
{
    hsize_t n = run->n_particles, n_frames = run->n_frames;
    hsize_t position[] = {0, n, 3};
    free(run->radius_um);
    run->radius_um = read_data(file, "particles/swarm/radius", H5T_NATIVE_DOUBLE, 1, &n);
    run->trajectory_um =
        read_data(file, "particles/swarm/position/value", H5T_NATIVE_FLOAT, 3, position);
    run->n_stored = run->trajectory_um ? (size_t)position[0] : 0;
    if (H5Lexists(file, "particles/swarm/axis", H5P_DEFAULT) > 0)
        run->trajectory_axis =
            read_data(file, "particles/swarm/axis/value", H5T_NATIVE_FLOAT, 3, position);
    hsize_t n_stored = run->n_stored;
    run->trajectory_time_s =
        read_data(file, "particles/swarm/position/time", H5T_NATIVE_DOUBLE, 1, &n_stored);
    double *heading =
        read_data(file, "observables/swarm/heading/value", H5T_NATIVE_DOUBLE, 1, &n_frames);
    for (size_t i = 0; heading && i < run->n_frames && i < n_frames; i++)
        run->frames[i].heading_rad = heading[i];
    bool complete = run->radius_um && run->trajectory_um && run->trajectory_time_s && heading &&
                    n == run->n_particles && n_stored == run->n_stored && n_frames == run->n_frames;
    free(heading);
    return complete;
}

static nrw_status load_trajectory(const char *dir, nrw_run_result *run, nrw_errors *errors)
{
    H5E_auto2_t handler = NULL;
    void *context = NULL;
    char path[4096];
    (void)snprintf(path, sizeof path, "%s/trajectory.h5", dir);
    (void)H5Eget_auto2(H5E_DEFAULT, &handler, &context);
    (void)H5Eset_auto2(H5E_DEFAULT, NULL, NULL);
    hid_t file = H5Fopen(path, H5F_ACC_RDONLY, H5P_DEFAULT);
    bool complete = file >= 0 && take_trajectory(file, run);
    if (file >= 0)
        (void)H5Fclose(file);
    (void)H5Eset_auto2(H5E_DEFAULT, handler, context);
    return complete
               ? NRW_OK
               : malformed(dir, "trajectory.h5", "missing, damaged, or of another run", errors);
}

/* --- result.json ---------------------------------------------------------- */

/* The figures of a run stand at the top, or below "run" where they are not those of
 * the command itself. */
static const char *base_of(const nrw_result *result)
{
    return nrw_result_get_size(result, "figures.run") > 0 ? "figures.run" : "figures";
}

static void path_of(const nrw_result *result, const char *format, size_t i, char *path, size_t size)
{
    int used = snprintf(path, size, "%s.", base_of(result));
    (void)snprintf(path + used, size - (size_t)used, format, i);
}

static double figure(const nrw_result *result, const char *format, size_t i)
{
    char path[96];
    path_of(result, format, i, path, sizeof path);
    return nrw_result_get_number(result, path);
}

static const char *word(const nrw_result *result, const char *format, size_t i)
{
    char path[96];
    path_of(result, format, i, path, sizeof path);
    const char *text = nrw_result_get_string(result, path);
    return text ? text : "";
}

static nrw_leg_tally read_tally(const nrw_result *result, size_t i)
{
    static const char *const fractions[NRW_LAYERS_TOLD] = {
        "legs.%zu.layers.fractions.0", "legs.%zu.layers.fractions.1", "legs.%zu.layers.fractions.2",
        "legs.%zu.layers.fractions.3"};
    nrw_leg_tally tally = {.pair_flow_share = figure(result, "legs.%zu.pair_flow_share", i),
                           .layers_mean = figure(result, "legs.%zu.layers.mean", i)};
    const double most = figure(result, "legs.%zu.layers.most", i);
    tally.layers_most = most >= 1.0 && most < 1e6 ? (int)most : 0;
    for (size_t k = 0; k < NRW_LAYERS_TOLD; k++)
        tally.layer_share[k] = figure(result, fractions[k], i);
    return tally;
}

static size_t length(const nrw_result *result, const char *key)
{
    char path[96];
    path_of(result, key, 0, path, sizeof path);
    return nrw_result_get_size(result, path);
}

static nrw_status take_losses(const nrw_result *result, nrw_run_result *run, nrw_errors *errors)
{
    run->n_losses = length(result, "lost_by_place");
    run->losses = calloc(run->n_losses + 1, sizeof *run->losses);
    if (!run->losses)
        return no_memory(errors);
    for (size_t i = 0; i < run->n_losses; i++) {
        nrw_loss_place *loss = &run->losses[i];
        (void)snprintf(loss->place, sizeof loss->place, "%s",
                       word(result, "lost_by_place.%zu.place", i));
        loss->at_um[0] = figure(result, "lost_by_place.%zu.at_um.0", i);
        loss->at_um[1] = figure(result, "lost_by_place.%zu.at_um.1", i);
        loss->fraction = figure(result, "lost_by_place.%zu.fraction", i);
        const char *cause = word(result, "lost_by_place.%zu.cause", i);
        loss->cause = NRW_LOSS_OTHER;
        for (int c = 0; c < NRW_N_LOSS_CAUSES; c++)
            if (strcmp(cause, nrw_loss_cause_name((nrw_loss_cause)c)) == 0)
                loss->cause = (nrw_loss_cause)c;
    }
    return NRW_OK;
}

static nrw_status take_visits(const char *dir, const nrw_result *result,
                              const nrw_schedule *schedule, nrw_run_result *run, nrw_errors *errors)
{
    static const nrw_leg_end ends[] = {NRW_LEG_CONDITION, NRW_LEG_TIMEOUT, NRW_LEG_STALL,
                                       NRW_LEG_DEADLINE, NRW_LEG_STOPPED};
    run->n_visits = length(result, "legs");
    run->visits = calloc(run->n_visits + 1, sizeof *run->visits);
    if (!run->visits)
        return no_memory(errors);
    for (size_t i = 0; i < run->n_visits; i++) {
        nrw_leg_visit *visit = &run->visits[i];
        visit->leg = find_leg(schedule, word(result, "legs.%zu.name", i));
        if (visit->leg < 0)
            return malformed(dir, "result.json", "a leg is not in schedule.yaml", errors);
        visit->start_s = figure(result, "legs.%zu.start_s", i);
        visit->end_s = figure(result, "legs.%zu.end_s", i);
        const char *ended = word(result, "legs.%zu.ended", i);
        for (size_t e = 0; e < sizeof ends / sizeof *ends; e++)
            if (strcmp(ended, nrw_leg_end_name(ends[e])) == 0)
                visit->end = ends[e];
        const char *model = word(result, "legs.%zu.model", i);
        visit->model = strcmp(model, nrw_model_name(NRW_MODEL_RESOLVED)) == 0 ? NRW_MODEL_RESOLVED
                                                                              : NRW_MODEL_AVERAGED;
        visit->mason_number = figure(result, "legs.%zu.mason_number", i);
        visit->cycle_displacement = figure(result, "legs.%zu.cycle_displacement", i);
        visit->shedding_number = figure(result, "legs.%zu.shedding_number", i);
        visit->tally = read_tally(result, i);
    }
    return NRW_OK;
}

static const char *warning(const nrw_result *result, size_t i)
{
    char path[96];
    (void)snprintf(path, sizeof path, "warnings.%zu", i);
    const char *text = nrw_result_get_string(result, path);
    return text ? text : "";
}

static nrw_status take_warnings(const nrw_result *result, nrw_run_result *run, nrw_errors *errors)
{
    size_t n = nrw_result_get_size(result, "warnings");
    run->warnings = calloc(n + 1, sizeof *run->warnings);
    if (!run->warnings)
        return no_memory(errors);
    for (size_t i = 0; i < n; i++) {
        const char *text = warning(result, i);
        if (!(run->warnings[i] = malloc(strlen(text) + 1)))
            return no_memory(errors);
        strcpy(run->warnings[i], text);
        run->n_warnings = i + 1;
    }
    return NRW_OK;
}

static void take_figures(const nrw_result *result, nrw_run_result *run)
{
    run->time_s = figure(result, "time_s", 0);
    run->time_to_target_s = figure(result, "time_to_target_s", 0);
    run->path_um = figure(result, "centroid_path_um", 0);
    run->mean_speed_um_s = figure(result, "mean_speed_um_s", 0);
    run->mean_spin_Hz = figure(result, "mean_spin_Hz", 0);
    run->visible_fraction_of_time = figure(result, "visible_fraction_of_time", 0);
    run->largest_overlap = figure(result, "largest_overlap", 0);
    run->gap_um = figure(result, "gap_um", 0);
    double steps = figure(result, "steps", 0);
    double pairs = figure(result, "pair_interactions", 0);
    run->steps = steps > 0 ? (uint64_t)steps : 0;
    run->pair_interactions = pairs > 0 ? (uint64_t)pairs : 0;
    run->final.x_um = figure(result, "centroid_um.0", 0);
    run->final.y_um = figure(result, "centroid_um.1", 0);
    run->final.spread_um = figure(result, "spread_um", 0);
    run->final.aspect_ratio = figure(result, "aspect_ratio", 0);
    run->final.largest_cluster_fraction = figure(result, "largest_cluster_fraction", 0);
}

static nrw_status load_result(const char *dir, const nrw_schedule *schedule, nrw_run_result *run,
                              nrw_errors *errors)
{
    char *text;
    size_t size;
    nrw_result *result = NULL;
    nrw_status status = nrw_store_read(dir, "result.json", &text, &size, errors);
    if (status != NRW_OK)
        return status;
    char path[512];
    (void)snprintf(path, sizeof path, "%s/result.json", dir);
    status = nrw_result_parse(text, size, path, &result, errors);
    free(text);
    if (status == NRW_OK)
        status = take_losses(result, run, errors);
    if (status == NRW_OK)
        status = take_visits(dir, result, schedule, run, errors);
    if (status == NRW_OK)
        status = take_warnings(result, run, errors);
    if (status == NRW_OK)
        take_figures(result, run);
    nrw_result_destroy(result);
    return status;
}

nrw_status nrw_run_result_load(const char *dir, const nrw_schedule *schedule, nrw_run_result *run,
                               nrw_errors *errors)
{
    nrw_csv_table table;
    memset(run, 0, sizeof *run);
    nrw_status status = read_csv(dir, "final.csv", &table, errors);
    if (status == NRW_OK)
        status = take_particles(dir, &table, run, errors);
    nrw_csv_table_clear(&table);
    if (status == NRW_OK)
        status = read_csv(dir, "morphology.csv", &table, errors);
    if (status == NRW_OK)
        status = take_frames(dir, &table, schedule, run, errors);
    nrw_csv_table_clear(&table);
    if (status == NRW_OK)
        status = load_trajectory(dir, run, errors);
    if (status == NRW_OK)
        status = load_result(dir, schedule, run, errors);
    return status;
}
