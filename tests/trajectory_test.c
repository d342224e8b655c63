/* What a run leaves behind: final.csv, morphology.csv, trajectory.h5. */
#include <criterion/criterion.h>
#include <hdf5.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "example_run.h"
#include "result.h"
#include "temporary_folder.h"
#include "trajectory.h"

static char base[256], target[512];
static example_run example;
static nrw_errors errors;
/* Only these two fields reach the files. */
static nrw_scenario scenario = {.title = (char *)"A title", .sha256 = "0123"};

static void setup(void)
{
    temporary_folder_make(base);
    path_join(target, base, "results");
    example_run_make(&example);
    nrw_errors_init(&errors);
}

static void teardown(void)
{
    example_run_clear(&example);
    nrw_errors_clear(&errors);
    temporary_folder_remove(base);
}

TestSuite(trajectory, .init = setup, .fini = teardown);

static void write_folder(const char *folder)
{
    nrw_store *store;
    char *text;
    nrw_result *result = nrw_result_create("run");
    nrw_result_run_figures(result, &example.schedule, &example.run);
    cr_assert_eq(nrw_result_text(result, &text, &errors), NRW_OK);
    cr_assert_eq(nrw_store_open(folder, true, &store, &errors), NRW_OK);
    cr_assert_eq(nrw_store_run(store, &scenario, &example.schedule, &example.run, "0.1.0", &errors),
                 NRW_OK);
    cr_assert_eq(nrw_store_put(store, "result.json", text, strlen(text), &errors), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    nrw_result_destroy(result);
    free(text);
}

static char *written(const char *name, size_t *size)
{
    char path[512];
    return file_bytes(path_join(path, target, name), size);
}

Test(trajectory, final_csv_is_exactly_this)
{
    example.run.n_particles = 2;
    example.run.x_um[0] = 1.0 / 3.0;
    example.run.y_um[0] = -2;
    example.run.z_um[0] = NAN;
    example.run.fates[1] = NRW_FATE_WASHED_OUT;
    example.run.x_um[1] = 1e-7;
    example.run.y_um[1] = 0;
    example.run.n_stored = 0;
    write_folder(target);
    char *text = written("final.csv", NULL);
    cr_assert_str_eq(text, "id,x_um,y_um,z_um,moment_x,moment_y,moment_z,fate\r\n"
                           "0,0.3333333333333333,-2,,30,0,0,left_behind\r\n"
                           "1,1e-07,0,1.53,30,0,0,washed_out\r\n");
    free(text);
}

Test(trajectory, morphology_csv_is_exactly_this)
{
    example.run.n_frames = 2;
    nrw_frame *frames = example.run.frames;
    frames[0] = (nrw_frame){.time_s = 0.1, .leg = 1, .speed_um_s = NAN};
    frames[0].seen = (nrw_morphology){1,  2,  40,  30,  -12.5, 4.0 / 3.0, 25,  31,
                                      20, -5, NAN, NAN, 0.975, 3.1,       NAN, true};
    frames[1] = frames[0];
    frames[1].time_s = 0.2;
    frames[1].speed_um_s = 7;
    frames[1].seen.visible = false;
    write_folder(target);
    char *text = written("morphology.csv", NULL);
    cr_assert_str_eq(
        text, "time_s,leg,x_um,y_um,major_um,minor_um,angle_deg,aspect_ratio,spread_um,"
              "width_across_um,front_um,tail_um,largest_cluster_fraction,neighbour_distance_um,"
              "speed_um_s,visible\r\n"
              "0.1,\"squeeze, then <b>go</b>\",1,2,40,30,-12.5,1.3333333333333333,25,31,20,-5,"
              "0.975,3.1,,1\r\n"
              "0.2,\"squeeze, then <b>go</b>\",1,2,40,30,-12.5,1.3333333333333333,25,31,20,-5,"
              "0.975,3.1,7,0\r\n");
    free(text);
}

/* --- the HDF5 file, read with the library alone ---------------------------- */

static hid_t open_file(void)
{
    char path[512];
    hid_t file = H5Fopen(path_join(path, target, "trajectory.h5"), H5F_ACC_RDONLY, H5P_DEFAULT);
    cr_assert(file >= 0);
    return file;
}

static void expect_text(hid_t file, const char *object, const char *name, const char *expected)
{
    char text[64] = "";
    hid_t attribute = H5Aopen_by_name(file, object, name, H5P_DEFAULT, H5P_DEFAULT);
    cr_assert(attribute >= 0, "no attribute %s of %s", name, object);
    hid_t type = H5Aget_type(attribute);
    cr_assert(H5Tget_class(type) == H5T_STRING && H5Tget_size(type) <= sizeof text);
    H5Aread(attribute, type, text);
    cr_assert_str_eq(text, expected);
    H5Tclose(type);
    H5Aclose(attribute);
}

static void expect_integers(hid_t file, const char *object, const char *name, hsize_t n,
                            const int *expected)
{
    int values[4] = {0};
    hid_t attribute = H5Aopen_by_name(file, object, name, H5P_DEFAULT, H5P_DEFAULT);
    cr_assert(attribute >= 0, "no attribute %s of %s", name, object);
    hid_t space = H5Aget_space(attribute);
    cr_assert_eq((hsize_t)H5Sget_simple_extent_npoints(space), n);
    H5Aread(attribute, H5T_NATIVE_INT, values);
    cr_assert_arr_eq(values, expected, (size_t)n * sizeof *values);
    H5Sclose(space);
    H5Aclose(attribute);
}

static hid_t open_data(hid_t file, const char *path, int rank, const hsize_t *shape)
{
    hsize_t found[3];
    hid_t data = H5Dopen2(file, path, H5P_DEFAULT);
    cr_assert(data >= 0, "no dataset %s", path);
    hid_t space = H5Dget_space(data);
    cr_assert_eq(H5Sget_simple_extent_ndims(space), rank);
    H5Sget_simple_extent_dims(space, found, NULL);
    cr_assert_arr_eq(found, shape, (size_t)rank * sizeof *shape);
    H5Sclose(space);
    return data;
}

Test(trajectory, file_has_the_elements_that_h5md_requires)
{
    write_folder(target);
    hid_t file = open_file();
    expect_integers(file, "/h5md", "version", 2, (const int[]){1, 1});
    expect_text(file, "/h5md/author", "name", "not stated");
    expect_text(file, "/h5md/creator", "name", "narrows");
    expect_text(file, "/h5md/creator", "version", "0.1.0");
    expect_integers(file, "/h5md/modules/units", "version", 2, (const int[]){1, 0});
    expect_text(file, "/h5md/modules/units", "system", "SI");
    expect_integers(file, "/particles/swarm/box", "dimension", 1, (const int[]){3});
    expect_text(file, "/particles/swarm/position/value", "unit", "um");
    expect_text(file, "/particles/swarm/position/time", "unit", "s");
    hid_t boundary =
        H5Aopen_by_name(file, "/particles/swarm/box", "boundary", H5P_DEFAULT, H5P_DEFAULT);
    char sides[3][5];
    hid_t type = H5Aget_type(boundary);
    cr_assert_eq(H5Aget_storage_size(boundary), sizeof sides);
    H5Aread(boundary, type, sides);
    for (int i = 0; i < 3; i++)
        cr_assert_str_eq(sides[i], "none");
    H5Tclose(type);
    H5Aclose(boundary);
    H5Fclose(file);
}

Test(trajectory, positions_are_compressed_float32_and_those_of_the_run)
{
    write_folder(target);
    const nrw_run_result *run = &example.run;
    size_t n_values = run->n_stored * run->n_particles * 3;
    hid_t file = open_file();
    hid_t data = open_data(file, "/particles/swarm/position/value", 3,
                           (const hsize_t[]){run->n_stored, run->n_particles, 3});
    hid_t type = H5Dget_type(data), plist = H5Dget_create_plist(data);
    cr_assert(H5Tequal(type, H5T_IEEE_F32LE) > 0);
    cr_assert_eq(H5Pget_nfilters(plist), 2);
    cr_assert(H5Dget_storage_size(data) < n_values * sizeof(float));
    float *values = malloc(n_values * sizeof *values);
    H5Dread(data, H5T_NATIVE_FLOAT, H5S_ALL, H5S_ALL, H5P_DEFAULT, values);
    cr_assert_arr_eq(values, run->trajectory_um, n_values * sizeof *values);
    free(values);
    H5Tclose(type);
    H5Pclose(plist);
    H5Dclose(data);
    H5Fclose(file);
}

Test(trajectory, observables_share_step_and_time)
{
    static const char *const names[] = {"front", "tail", "heading", "leg", "spread"};
    write_folder(target);
    hid_t file = open_file();
    hsize_t n = example.run.n_frames;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char path[96];
        (void)snprintf(path, sizeof path, "/observables/swarm/%s/value", names[i]);
        H5Dclose(open_data(file, path, 1, &n));
        (void)snprintf(path, sizeof path, "/observables/swarm/%s/time", names[i]);
        hid_t data = open_data(file, path, 1, &n);
        H5O_info_t info;
        H5Oget_info2(data, &info, H5O_INFO_BASIC);
        cr_assert_gt(info.rc, 1, "a hard link to the one dataset");
        H5Dclose(data);
    }
    H5Fclose(file);
}

Test(trajectory, same_run_gives_the_same_bytes)
{
    static const char *const names[] = {"trajectory.h5", "final.csv", "morphology.csv",
                                        "result.json"};
    char *first[4];
    size_t sizes[4];
    write_folder(target);
    for (int i = 0; i < 4; i++)
        first[i] = written(names[i], &sizes[i]);
    sleep(1); /* a time stamp in a file would differ now */
    write_folder(target);
    for (int i = 0; i < 4; i++) {
        size_t size;
        char *again = written(names[i], &size);
        cr_assert_eq(size, sizes[i], "%s", names[i]);
        cr_assert_arr_eq(again, first[i], size, "%s", names[i]);
        free(again);
        free(first[i]);
    }
}

Test(trajectory, run_without_frames_is_written_and_read)
{
    nrw_run_result back;
    example.run.n_stored = example.run.n_frames = 0;
    write_folder(target);
    cr_assert_eq(nrw_run_result_load(target, &example.schedule, &back, &errors), NRW_OK, "%s",
                 errors.n_items ? errors.items[0].what : "");
    cr_assert_eq(back.n_particles, example.run.n_particles);
    cr_assert_eq(back.n_stored, 0);
    nrw_run_result_clear(&back);
}

Test(trajectory, run_is_read_back_as_it_was)
{
    nrw_run_result back;
    const nrw_run_result *run = &example.run;
    write_folder(target);
    cr_assert_eq(nrw_run_result_load(target, &example.schedule, &back, &errors), NRW_OK, "%s",
                 errors.n_items ? errors.items[0].what : "");
    cr_assert_eq(back.n_particles, run->n_particles);
    cr_assert_arr_eq(back.x_um, run->x_um, run->n_particles * sizeof *run->x_um);
    cr_assert_arr_eq(back.radius_um, run->radius_um, run->n_particles * sizeof *run->radius_um);
    cr_assert_arr_eq(back.fates, run->fates, run->n_particles * sizeof *run->fates);
    cr_assert_arr_eq(back.trajectory_um, run->trajectory_um,
                     3 * run->n_stored * run->n_particles * sizeof(float));
    cr_assert_eq(back.n_frames, run->n_frames);
    cr_assert_eq(back.frames[30].heading_rad, run->frames[30].heading_rad);
    cr_assert_eq(back.frames[30].leg, run->frames[30].leg);
    cr_assert_eq(back.frames[30].seen.width_across_um, run->frames[30].seen.width_across_um);
    cr_assert_eq(back.n_visits, run->n_visits);
    cr_assert_eq(back.visits[1].end, NRW_LEG_TIMEOUT);
    cr_assert_eq(back.visits[1].end_s, run->visits[1].end_s);
    cr_assert_eq(back.n_losses, run->n_losses);
    cr_assert_str_eq(back.losses[1].place, run->losses[1].place);
    cr_assert_eq(back.losses[1].cause, run->losses[1].cause);
    cr_assert_eq(back.pair_interactions, run->pair_interactions);
    cr_assert_str_eq(back.warnings[0], run->warnings[0]);
    nrw_run_result_clear(&back);
}

Test(trajectory, damaged_folders_are_told_apart_and_leave_no_crash)
{
    static const char *const names[] = {"trajectory.h5", "final.csv", "morphology.csv",
                                        "result.json"};
    for (int i = 0; i < 4; i++) {
        char path[512];
        nrw_run_result back;
        write_folder(target);
        nrw_errors_clear(&errors);
        file_write(path_join(path, target, names[i]), "x\n\"");
        cr_assert_eq(nrw_run_result_load(target, &example.schedule, &back, &errors), NRW_BAD_INPUT);
        cr_assert(strstr(errors.items[0].file, names[i]), "%s", errors.items[0].file);
        nrw_run_result_clear(&back);
    }
}
