#include "leg_tally.h"

#include <math.h>

nrw_leg_tally nrw_leg_tally_none(void)
{
    return (nrw_leg_tally){.pair_flow_share = NAN, .layers_mean = NAN};
}

int nrw_layer_of(double z_um, double rest_um, double diameter_um)
{
    return 1 + (int)fmax(0.0, floor((z_um - rest_um) / diameter_um + 0.5));
}

/* The mean of `n` frames with one more. */
static double mean_with(double mean, size_t n, double value)
{
    return n == 1 ? value : mean + (value - mean) / (double)n;
}

static void tally_layers(nrw_leg_tally *tally, const nrw_world *world)
{
    size_t counts[NRW_LAYERS_TOLD] = {0};
    double sum = 0.0;
    for (size_t i = 0; i < world->n; i++) {
        const double rest = nrw_world_rest_height_um(world, (double)world->radius[i]);
        const int layer = nrw_layer_of(world->z[i], rest, world->body.diameter_um);
        sum += layer;
        tally->layers_most = layer > tally->layers_most ? layer : tally->layers_most;
        counts[layer < NRW_LAYERS_TOLD ? layer - 1 : NRW_LAYERS_TOLD - 1]++;
    }
    const double n = (double)world->n;
    tally->layers_mean = mean_with(tally->layers_mean, tally->n_frames, sum / n);
    for (int k = 0; k < NRW_LAYERS_TOLD; k++)
        tally->layer_share[k] =
            mean_with(tally->layer_share[k], tally->n_frames, (double)counts[k] / n);
}

void nrw_leg_tally_frame(nrw_leg_tally *tally, const nrw_world *world)
{
    if (world->n == 0)
        return;
    tally->n_frames++;
    if (world->body.has_floor)
        tally_layers(tally, world);
    if (!world->rows.share)
        return;
    double sum = 0.0;
    for (size_t row = 0; row < world->n; row++)
        sum += (double)world->share[row];
    tally->n_screened++;
    tally->pair_flow_share =
        mean_with(tally->pair_flow_share, tally->n_screened, sum / (double)world->n);
}
