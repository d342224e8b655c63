/* trajectory.h5: H5MD 1.1 (de Buyl et al. 2014). */
#include "trajectory.h"

#include "doublet.h"

#include <hdf5.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* A writer that goes on after a failure without doing harm and tells at the
 * end: each step works on handles that may be invalid, and HDF5 refuses them. */
typedef struct h5_writer {
    hid_t file, group_plist, time_plist;
    bool failed;
} h5_writer;

static void check(h5_writer *writer, herr_t status)
{
    if (status < 0)
        writer->failed = true;
}

static hid_t opened(h5_writer *writer, hid_t handle)
{
    if (handle < 0)
        writer->failed = true;
    return handle;
}

/* --- attributes ----------------------------------------------------------- */

static void add_attribute(h5_writer *writer, hid_t object, const char *name, hid_t file_type,
                          hid_t memory_type, hid_t space, const void *value)
{
    hid_t attribute =
        opened(writer, H5Acreate2(object, name, file_type, space, H5P_DEFAULT, H5P_DEFAULT));
    check(writer, H5Awrite(attribute, memory_type, value));
    check(writer, H5Aclose(attribute));
}

/* A string of fixed length in UTF-8: no heap, so no bytes that vary. `n` is 0
 * for a scalar, or the length of an array of the same text. */
static void add_text(h5_writer *writer, hid_t object, const char *name, const char *text, hsize_t n)
{
    size_t size = strlen(text) + 1;
    char *copies = malloc(size * (n ? n : 1));
    hid_t type = opened(writer, H5Tcopy(H5T_C_S1));
    hid_t space = opened(writer, n ? H5Screate_simple(1, &n, NULL) : H5Screate(H5S_SCALAR));
    check(writer, H5Tset_size(type, size));
    check(writer, H5Tset_cset(type, H5T_CSET_UTF8));
    for (hsize_t i = 0; copies && i < (n ? n : 1); i++)
        memcpy(copies + i * size, text, size);
    if (copies)
        add_attribute(writer, object, name, type, type, space, copies);
    else
        writer->failed = true;
    check(writer, H5Sclose(space));
    check(writer, H5Tclose(type));
    free(copies);
}

static void add_integers(h5_writer *writer, hid_t object, const char *name, hsize_t n,
                         const int *values)
{
    hid_t space = opened(writer, n > 1 ? H5Screate_simple(1, &n, NULL) : H5Screate(H5S_SCALAR));
    add_attribute(writer, object, name, H5T_STD_I32LE, H5T_NATIVE_INT, space, values);
    check(writer, H5Sclose(space));
}

/* --- groups and data ------------------------------------------------------ */

static hid_t add_group(h5_writer *writer, hid_t parent, const char *name)
{
    return opened(writer, H5Gcreate2(parent, name, H5P_DEFAULT, writer->group_plist, H5P_DEFAULT));
}

/* A dataset of n_rows x shape, compressed in chunks of about 1 MiB of whole
 * rows; `unit` may be NULL. */
static void add_data(h5_writer *writer, hid_t group, const char *name, hid_t file_type,
                     hid_t memory_type, int rank, const hsize_t *shape, const char *unit,
                     const void *values)
{
    enum { CHUNK_BYTES = 1 << 20, COMPRESSION = 4, RANK_MAX = 3 };
    hsize_t chunk[RANK_MAX], row = H5Tget_size(file_type);
    bool empty = false;
    for (int i = 0; i < rank; i++) {
        chunk[i] = shape[i];
        row *= i > 0 ? shape[i] : 1;
        empty = empty || shape[i] == 0;
    }
    hid_t plist = opened(writer, H5Pcreate(H5P_DATASET_CREATE));
    check(writer, H5Pset_obj_track_times(plist, false));
    if (!empty) {
        hsize_t rows = CHUNK_BYTES / row;
        chunk[0] = rows < 1 ? 1 : rows < shape[0] ? rows : shape[0];
        check(writer, H5Pset_chunk(plist, rank, chunk));
        check(writer, H5Pset_shuffle(plist));
        check(writer, H5Pset_deflate(plist, COMPRESSION));
    }
    hid_t space = opened(writer, H5Screate_simple(rank, shape, NULL));
    hid_t data =
        opened(writer, H5Dcreate2(group, name, file_type, space, H5P_DEFAULT, plist, H5P_DEFAULT));
    if (!empty)
        check(writer, H5Dwrite(data, memory_type, H5S_ALL, H5S_ALL, H5P_DEFAULT, values));
    if (unit)
        add_text(writer, data, "unit", unit, 0);
    check(writer, H5Dclose(data));
    check(writer, H5Sclose(space));
    check(writer, H5Pclose(plist));
}

/* `step` and `time` of a time series: step is the number of the picture. */
static void add_times(h5_writer *writer, hid_t group, hsize_t n, const double *times_s)
{
    int32_t *steps = malloc((n ? n : 1) * sizeof *steps);
    if (!steps) {
        writer->failed = true;
        return;
    }
    for (hsize_t i = 0; i < n; i++)
        steps[i] = (int32_t)i;
    add_data(writer, group, "step", H5T_STD_I32LE, H5T_NATIVE_INT32, 1, &n, NULL, steps);
    add_data(writer, group, "time", H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, 1, &n, "s", times_s);
    free(steps);
}

static void add_metadata(h5_writer *writer, const char *version)
{
    static const int h5md_version[] = {1, 1}, units_version[] = {1, 0};
    hid_t h5md = add_group(writer, writer->file, "h5md");
    add_integers(writer, h5md, "version", 2, h5md_version);
    hid_t author = add_group(writer, h5md, "author");
    add_text(writer, author, "name", "not stated", 0);
    hid_t creator = add_group(writer, h5md, "creator");
    add_text(writer, creator, "name", "narrows", 0);
    add_text(writer, creator, "version", version, 0);
    hid_t modules = add_group(writer, h5md, "modules");
    hid_t units = add_group(writer, modules, "units");
    add_integers(writer, units, "version", 2, units_version);
    add_text(writer, units, "system", "SI", 0);
    hid_t groups[] = {units, modules, creator, author, h5md};
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++)
        check(writer, H5Gclose(groups[i]));
}

/* Axes of doublets at the positions' times, radius of their lobes and distance of the
 * lobes' centres from the middle. */
static void add_axes(h5_writer *writer, hid_t swarm, const nrw_scenario *scenario,
                     const nrw_run_result *run)
{
    const nrw_doublet_shape shape = nrw_doublet_shape_of(scenario->particles.shape.aspect);
    hsize_t n = run->n_particles;
    double *sizes = malloc((n ? 2 * n : 1) * sizeof *sizes);
    if (!sizes) {
        writer->failed = true;
        return;
    }
    for (hsize_t i = 0; i < n; i++) {
        sizes[i] = shape.lobe * run->radius_um[i];
        sizes[n + i] = shape.half * run->radius_um[i];
    }
    hid_t axis = add_group(writer, swarm, "axis");
    check(writer, H5Lcreate_hard(swarm, "position/step", axis, "step", H5P_DEFAULT, H5P_DEFAULT));
    check(writer, H5Lcreate_hard(swarm, "position/time", axis, "time", H5P_DEFAULT, H5P_DEFAULT));
    add_data(writer, axis, "value", H5T_IEEE_F32LE, H5T_NATIVE_FLOAT, 3,
             (hsize_t[]){run->n_stored, n, 3}, NULL, run->trajectory_axis);
    check(writer, H5Gclose(axis));
    add_data(writer, swarm, "lobe_radius", H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, 1, &n, "um", sizes);
    add_data(writer, swarm, "lobe_distance", H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, 1, &n, "um",
             sizes + n);
    free(sizes);
}

static void add_particles(h5_writer *writer, const nrw_scenario *scenario,
                          const nrw_run_result *run)
{
    static const int dimension = 3;
    hsize_t n = run->n_particles;
    hid_t particles = add_group(writer, writer->file, "particles");
    hid_t swarm = add_group(writer, particles, "swarm");
    hid_t box = add_group(writer, swarm, "box");
    add_integers(writer, box, "dimension", 1, &dimension);
    add_text(writer, box, "boundary", "none", 3);
    hid_t position = add_group(writer, swarm, "position");
    add_times(writer, position, run->n_stored, run->trajectory_time_s);
    add_data(writer, position, "value", H5T_IEEE_F32LE, H5T_NATIVE_FLOAT, 3,
             (hsize_t[]){run->n_stored, n, 3}, "um", run->trajectory_um);
    add_data(writer, swarm, "radius", H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, 1, &n, "um",
             run->radius_um);
    if (run->trajectory_axis)
        add_axes(writer, swarm, scenario, run);
    hid_t groups[] = {position, box, swarm, particles};
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++)
        check(writer, H5Gclose(groups[i]));
}

/* --- observables: what imaging saw, frame by frame ------------------------ */

typedef struct observable {
    const char *name, *unit;
    int width;
} observable;

static const observable observables[] = {
    {"centroid", "um", 2},     {"front", "um", 1},  {"tail", "um", 1},
    {"width_across", "um", 1}, {"spread", "um", 1}, {"largest_cluster_fraction", NULL, 1},
    {"heading", "rad", 1},     {"leg", NULL, 1}};
enum { N_OBSERVABLES = sizeof observables / sizeof *observables, WIDEST = 2 };

static void observe(const nrw_frame *frame, int which, double values[WIDEST])
{
    const nrw_morphology *seen = &frame->seen;
    const double of[N_OBSERVABLES][WIDEST] = {
        {seen->x_um, seen->y_um}, {seen->front_um},  {seen->tail_um},
        {seen->width_across_um},  {seen->spread_um}, {seen->largest_cluster_fraction},
        {frame->heading_rad},     {frame->leg}};
    memcpy(values, of[which], sizeof of[which]);
}

static void add_observables(h5_writer *writer, const nrw_run_result *run)
{
    hsize_t n = run->n_frames;
    double *values = malloc((n ? n : 1) * WIDEST * sizeof *values);
    hid_t all = add_group(writer, writer->file, "observables");
    hid_t swarm = add_group(writer, all, "swarm");
    for (int which = 0; values && which < N_OBSERVABLES; which++) {
        const observable *what = &observables[which];
        hid_t group = add_group(writer, swarm, what->name);
        if (which == 0) {
            for (hsize_t i = 0; i < n; i++)
                values[i] = run->frames[i].time_s;
            add_times(writer, group, n, values);
        } else {
            /* H5MD: elements sampled together may share step and time. */
            check(writer,
                  H5Lcreate_hard(swarm, "centroid/step", group, "step", H5P_DEFAULT, H5P_DEFAULT));
            check(writer,
                  H5Lcreate_hard(swarm, "centroid/time", group, "time", H5P_DEFAULT, H5P_DEFAULT));
        }
        for (hsize_t i = 0; i < n; i++) {
            double one[WIDEST];
            observe(&run->frames[i], which, one);
            memcpy(values + i * (hsize_t)what->width, one, (size_t)what->width * sizeof *one);
        }
        add_data(writer, group, "value", H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, what->width > 1 ? 2 : 1,
                 (hsize_t[]){n, (hsize_t)what->width}, what->unit, values);
        check(writer, H5Gclose(group));
    }
    writer->failed = writer->failed || !values;
    free(values);
    check(writer, H5Gclose(swarm));
    check(writer, H5Gclose(all));
}

static void add_parameters(h5_writer *writer, const nrw_scenario *scenario)
{
    hid_t group = add_group(writer, writer->file, "parameters");
    add_text(writer, group, "title", scenario->title ? scenario->title : "", 0);
    add_text(writer, group, "scenario_sha256", scenario->sha256, 0);
    check(writer, H5Gclose(group));
}

/* --- the file ------------------------------------------------------------- */

/* The finished file's bytes; NULL on failure. The caller frees them. */
static void *build_image(const nrw_scenario *scenario, const nrw_run_result *run,
                         const char *version, size_t *size)
{
    enum { GROWTH_BYTES = 1 << 20 };
    h5_writer writer = {.failed = false};
    hid_t access = opened(&writer, H5Pcreate(H5P_FILE_ACCESS));
    check(&writer, H5Pset_fapl_core(access, GROWTH_BYTES, false));
    /* The oldest file format, which is the default: the newer superblock has a
     * checksum, and H5Fget_file_image of HDF5 1.10.8 gives it a wrong one. */
    writer.group_plist = opened(&writer, H5Pcreate(H5P_GROUP_CREATE));
    check(&writer, H5Pset_obj_track_times(writer.group_plist, false));
    hid_t create = opened(&writer, H5Pcreate(H5P_FILE_CREATE));
    check(&writer, H5Pset_obj_track_times(create, false));
    writer.file = opened(&writer, H5Fcreate("trajectory.h5", H5F_ACC_TRUNC, create, access));
    if (!writer.failed) {
        add_metadata(&writer, version);
        add_particles(&writer, scenario, run);
        add_observables(&writer, run);
        add_parameters(&writer, scenario);
        check(&writer, H5Fflush(writer.file, H5F_SCOPE_GLOBAL));
    }
    void *image = NULL;
    ssize_t length = writer.failed ? -1 : H5Fget_file_image(writer.file, NULL, 0);
    if (length > 0 && (image = malloc((size_t)length)) != NULL) {
        *size = (size_t)length;
        check(&writer, H5Fget_file_image(writer.file, image, *size) == length ? 0 : -1);
    }
    check(&writer, H5Fclose(writer.file));
    check(&writer, H5Pclose(create));
    check(&writer, H5Pclose(writer.group_plist));
    check(&writer, H5Pclose(access));
    if (writer.failed) {
        free(image);
        image = NULL;
    }
    return image;
}

/* HDF5 prints its errors by default; here they become ours. */
typedef struct quiet_hdf5 {
    H5E_auto2_t handler;
    void *context;
} quiet_hdf5;

static quiet_hdf5 silence_hdf5(void)
{
    quiet_hdf5 before = {NULL, NULL};
    (void)H5Eget_auto2(H5E_DEFAULT, &before.handler, &before.context);
    (void)H5Eset_auto2(H5E_DEFAULT, NULL, NULL);
    return before;
}

static void restore_hdf5(quiet_hdf5 before)
{
    (void)H5Eset_auto2(H5E_DEFAULT, before.handler, before.context);
}

nrw_status nrw_store_trajectory(nrw_store *store, const nrw_scenario *scenario,
                                const nrw_run_result *run, const char *creator, nrw_errors *errors)
{
    size_t size = 0;
    quiet_hdf5 before = silence_hdf5();
    void *image = build_image(scenario, run, creator, &size);
    restore_hdf5(before);
    if (!image)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL,
                              "trajectory.h5 could not be put together in memory");
    nrw_status status = nrw_store_put(store, "trajectory.h5", image, size, errors);
    free(image);
    return status;
}

nrw_status nrw_store_run(nrw_store *store, const nrw_scenario *scenario,
                         const nrw_schedule *schedule, const nrw_run_result *run,
                         const char *creator, nrw_errors *errors)
{
    nrw_status status = nrw_store_final_csv(store, run, errors);
    if (status == NRW_OK)
        status = nrw_store_morphology_csv(store, schedule, run, errors);
    if (status == NRW_OK)
        status = nrw_store_trajectory(store, scenario, run, creator, errors);
    return status;
}
