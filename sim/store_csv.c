/* final.csv and morphology.csv. */
#include "trajectory.h"

#include "csv.h"

nrw_status nrw_store_final_csv(nrw_store *store, const nrw_run_result *run, nrw_errors *errors)
{
    static const char name[] = "final.csv";
    FILE *file;
    nrw_csv csv;
    nrw_status status = nrw_store_file_open(store, name, &file, errors);
    if (status != NRW_OK)
        return status;
    nrw_csv_begin(&csv, file, "id,x_um,y_um,z_um,moment_x,moment_y,moment_z,fate");
    for (size_t i = 0; i < run->n_particles; i++) {
        nrw_csv_integer(&csv, (int64_t)i);
        nrw_csv_number(&csv, run->x_um[i]);
        nrw_csv_number(&csv, run->y_um[i]);
        nrw_csv_number(&csv, run->z_um[i]);
        nrw_csv_number(&csv, run->moment_x[i]);
        nrw_csv_number(&csv, run->moment_y[i]);
        nrw_csv_number(&csv, run->moment_z[i]);
        nrw_csv_text(&csv, nrw_fate_name(run->fates[i]));
        nrw_csv_end_record(&csv);
    }
    return nrw_store_file_close(store, name, file, errors);
}

static void write_frame(nrw_csv *csv, const nrw_schedule *schedule, const nrw_frame *frame)
{
    const nrw_morphology *seen = &frame->seen;
    nrw_csv_number(csv, frame->time_s);
    nrw_csv_text(csv, schedule->legs[frame->leg].name);
    nrw_csv_number(csv, seen->x_um);
    nrw_csv_number(csv, seen->y_um);
    nrw_csv_number(csv, seen->major_um);
    nrw_csv_number(csv, seen->minor_um);
    nrw_csv_number(csv, seen->angle_deg);
    nrw_csv_number(csv, seen->aspect_ratio);
    nrw_csv_number(csv, seen->spread_um);
    nrw_csv_number(csv, seen->width_across_um);
    nrw_csv_number(csv, seen->front_um);
    nrw_csv_number(csv, seen->tail_um);
    nrw_csv_number(csv, seen->largest_cluster_fraction);
    nrw_csv_number(csv, seen->neighbour_distance_um);
    nrw_csv_number(csv, frame->speed_um_s);
    nrw_csv_integer(csv, seen->visible ? 1 : 0);
    nrw_csv_end_record(csv);
}

nrw_status nrw_store_morphology_csv(nrw_store *store, const nrw_schedule *schedule,
                                    const nrw_run_result *run, nrw_errors *errors)
{
    static const char name[] = "morphology.csv";
    FILE *file;
    nrw_csv csv;
    nrw_status status = nrw_store_file_open(store, name, &file, errors);
    if (status != NRW_OK)
        return status;
    nrw_csv_begin(&csv, file,
                  "time_s,leg,x_um,y_um,major_um,minor_um,angle_deg,aspect_ratio,spread_um,"
                  "width_across_um,front_um,tail_um,largest_cluster_fraction,"
                  "neighbour_distance_um,speed_um_s,visible");
    for (size_t i = 0; i < run->n_frames; i++)
        write_frame(&csv, schedule, &run->frames[i]);
    return nrw_store_file_close(store, name, file, errors);
}
