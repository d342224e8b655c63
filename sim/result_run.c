/* The figures of `run` (contract section 4). */
#include "result.h"

#include <math.h>

/* Fractions are whole counts over N, so that they are the nearest numbers to
 * the true ones and their sum is 1 to the last bits. */
static void add_fates(nrw_result *result, const nrw_run_result *run)
{
    static const nrw_fate losses[] = {NRW_FATE_WALL, NRW_FATE_LEFT_BEHIND, NRW_FATE_WASHED_OUT,
                                      NRW_FATE_SCATTERED, NRW_FATE_IN_TRANSIT};
    size_t counts[NRW_N_FATES] = {0};
    for (size_t i = 0; i < run->n_particles; i++)
        counts[run->fates[i]]++;
    double n = (double)run->n_particles;
    nrw_result_number(result, "delivered_fraction", (double)counts[NRW_FATE_DELIVERED] / n);
    nrw_result_open_object(result, "lost");
    for (size_t i = 0; i < sizeof losses / sizeof *losses; i++)
        nrw_result_number(result, nrw_fate_name(losses[i]), (double)counts[losses[i]] / n);
    nrw_result_close(result);
}

static void add_loss_places(nrw_result *result, const nrw_run_result *run)
{
    nrw_result_open_array(result, "lost_by_place");
    for (size_t i = 0; i < run->n_losses; i++) {
        const nrw_loss_place *loss = &run->losses[i];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "place", loss->place);
        nrw_result_numbers(result, "at_um", 2, loss->at_um);
        nrw_result_string(result, "cause", nrw_loss_cause_name(loss->cause));
        nrw_result_number(result, "fraction", loss->fraction);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

/* How high the swarm stood: its layers of a diameter each, from 1 at rest. */
static void add_layers(nrw_result *result, const nrw_leg_tally *tally)
{
    if (tally->layers_most == 0) {
        nrw_result_null(result, "layers");
        return;
    }
    nrw_result_open_object(result, "layers");
    nrw_result_number(result, "mean", tally->layers_mean);
    nrw_result_integer(result, "most", tally->layers_most);
    nrw_result_numbers(result, "fractions", NRW_LAYERS_TOLD, tally->layer_share);
    nrw_result_close(result);
}

static void add_visits(nrw_result *result, const nrw_schedule *schedule, const nrw_run_result *run)
{
    nrw_result_open_array(result, "legs");
    for (size_t i = 0; i < run->n_visits; i++) {
        const nrw_leg_visit *visit = &run->visits[i];
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "name", schedule->legs[visit->leg].name);
        nrw_result_number(result, "start_s", visit->start_s);
        nrw_result_number(result, "end_s", visit->end_s);
        nrw_result_string(result, "ended", nrw_leg_end_name(visit->end));
        nrw_result_string(result, "model", nrw_model_name(visit->model));
        nrw_result_number(result, "mason_number", visit->mason_number);
        nrw_result_number(result, "cycle_displacement", visit->cycle_displacement);
        nrw_result_number(result, "shedding_number", visit->shedding_number);
        nrw_result_number(result, "pair_flow_share", visit->tally.pair_flow_share);
        add_layers(result, &visit->tally);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

void nrw_result_run_figures(nrw_result *result, const nrw_schedule *schedule,
                            const nrw_run_result *run)
{
    const nrw_morphology *final = &run->final;
    add_fates(result, run);
    add_loss_places(result, run);
    nrw_result_number(result, "time_s", run->time_s);
    nrw_result_number(result, "time_to_target_s", run->time_to_target_s);
    nrw_result_number(result, "largest_cluster_fraction", final->largest_cluster_fraction);
    nrw_result_number(result, "aspect_ratio", final->aspect_ratio);
    nrw_result_number(result, "spread_um", final->spread_um);
    nrw_result_numbers(result, "centroid_um", 2, (const double[]){final->x_um, final->y_um});
    nrw_result_number(result, "centroid_path_um", run->path_um);
    nrw_result_number(result, "mean_speed_um_s", run->mean_speed_um_s);
    nrw_result_number(result, "mean_spin_Hz", run->mean_spin_Hz);
    nrw_result_number(result, "visible_fraction_of_time", run->visible_fraction_of_time);
    nrw_result_integer(result, "steps", (int64_t)run->steps);
    nrw_result_integer(result, "pair_interactions", (int64_t)run->pair_interactions);
    nrw_result_integer(result, "particles", (int64_t)run->n_particles);
    nrw_result_number(result, "gap_um", run->gap_um);
    nrw_result_number(result, "largest_overlap", run->largest_overlap);
    add_visits(result, schedule, run);
    for (size_t i = 0; i < run->n_warnings; i++)
        nrw_result_warn(result, run->warnings[i]);
}
