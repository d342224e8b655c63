/* What the blocks of a scenario must be for each other: sizes that fit into the
 * channel, particles that fit into their circle and don't lie in one another. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "cell_grid.h"
#include "scenario_file.h"

/* Particles may overlap by this share of a diameter at the start: contacts push them
 * apart within a step or two. The same as when a world is made. */
#define START_OVERLAP 0.1
/* Looking ends at so many: more of them help nobody, and each costs. */
#define OVERLAPS_MAX 1000

/* --- sizes ------------------------------------------------------------------- */

/* Diameter that about one of `count` particles exceeds: log-normal of mean 1. */
static double largest_diameter_um(const nrw_particles *particles)
{
    const double sigma2 = log1p(particles->diameter_cv * particles->diameter_cv);
    if (particles->count < 2)
        return particles->diameter_um;
    const double normal = gsl_cdf_ugaussian_Qinv(1.0 / (double)particles->count);
    return particles->diameter_um * exp(sqrt(sigma2) * normal - 0.5 * sigma2);
}

static void check_depth(nrw_yaml_doc *doc, const nrw_yaml_node *root, const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    const nrw_yaml_node *depth = nrw_yaml_get(nrw_yaml_get(root, "channel"), "depth_um");
    const nrw_yaml_node *block = nrw_yaml_get(root, "particles");
    const nrw_yaml_node *spread = nrw_yaml_get(block, "diameter_cv");
    const nrw_yaml_node *surface = nrw_yaml_get(block, "surface");
    const nrw_yaml_node *gap = nrw_yaml_get(surface, "gap_um");
    const nrw_yaml_node *roughness = nrw_yaml_get(surface, "roughness_nm");
    const double d = particles->diameter_um, room = scenario->map.depth_um - d;
    if (!depth || !(d > 0.0) || !(scenario->map.depth_um > 0.0))
        return;
    if (room <= 0.0) {
        (void)nrw_yaml_error(doc, depth, "more than particles.diameter_um",
                             "%g µm is no more than the diameter of a particle",
                             scenario->map.depth_um);
        return;
    }
    if (spread && largest_diameter_um(particles) >= scenario->map.depth_um)
        (void)nrw_yaml_error(doc, spread, "a smaller spread or a deeper channel",
                             "the largest of %zu particles would be about %.3g µm in a channel "
                             "%g µm deep",
                             particles->count, largest_diameter_um(particles),
                             scenario->map.depth_um);
    if (gap && particles->surface_gap_um >= room)
        (void)nrw_yaml_error(doc, gap, "less than channel.depth_um less the diameter",
                             "a gap of %g µm leaves no room for a particle below the ceiling",
                             particles->surface_gap_um);
    if (roughness && 1e-3 * particles->roughness_nm >= room)
        (void)nrw_yaml_error(doc, roughness, "less than channel.depth_um less the diameter",
                             "%g nm hold a particle in the ceiling", particles->roughness_nm);
}

/* --- release ----------------------------------------------------------------- */

/* How many fit into the circle is found out when they are laid (world.c). */
static void check_release(nrw_yaml_doc *doc, const nrw_yaml_node *root,
                          const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    const nrw_yaml_node *radius = nrw_yaml_get(nrw_yaml_get(root, "release"), "radius_um");
    const double d = particles->diameter_um, across = 2.0 * scenario->release.radius_um;
    if (!radius || particles->positions_um || !(across > 0.0) || !(d > 0.0))
        return;
    if (across < d)
        (void)nrw_yaml_error(doc, radius, "at least the radius of a particle",
                             "no particle of %g µm fits into a release circle of radius %g µm", d,
                             scenario->release.radius_um);
}

/* --- overlapping positions ---------------------------------------------------- */

typedef struct overlap_search {
    const nrw_placed *all; /* (n) */
    double *x, *y, *z;     /* (n); z of those left out: as if at the floor */
    double least_um;       /* closer than this they overlap */
    nrw_cell_grid grid;
} overlap_search;

/* The first particle before `i` that it overlaps, or i. Heights that are left out are
 * not yet known, apart from being equal; equal places have an error of their own. */
static size_t overlapped(const overlap_search *search, size_t i, double *apart_um)
{
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    const size_t n_ranges =
        nrw_cell_grid_around(&search->grid, search->x[i], search->y[i], search->z[i], ranges);
    size_t first = i;
    *apart_um = INFINITY;
    for (size_t k = 0; k < n_ranges; k++)
        for (uint32_t at = ranges[k].begin; at < ranges[k].end; at++) {
            const size_t j = search->grid.items[at];
            if (j >= first || isfinite(search->all[i].at[2]) != isfinite(search->all[j].at[2]))
                continue;
            const double dx = search->x[i] - search->x[j], dy = search->y[i] - search->y[j];
            const double dz = search->z[i] - search->z[j];
            const double apart = sqrt(dx * dx + dy * dy + dz * dz);
            if (apart >= search->least_um || !(apart > 0.0))
                continue;
            first = j;
            *apart_um = apart;
        }
    return first;
}

static void search_overlaps(nrw_yaml_doc *doc, overlap_search *search, size_t n, double diameter_um)
{
    nrw_cell_grid_sort(&search->grid, n, search->x, search->y, search->z, search->least_um);
    for (size_t i = 1, found = 0; i < n && found < OVERLAPS_MAX; i++) {
        double apart;
        const size_t j = overlapped(search, i, &apart);
        if (j == i)
            continue;
        found++;
        (void)nrw_yaml_error(doc, search->all[i].node, "centres at least a diameter apart",
                             "overlaps position %u: they are %.4g µm apart, and particles of "
                             "%g µm touch",
                             search->all[j].node->index, apart, diameter_um);
    }
}

void nrw_scenario_check_overlaps(nrw_yaml_doc *doc, const nrw_placed *all, size_t n,
                                 double diameter_um)
{
    overlap_search search = {.all = all, .least_um = (1.0 - START_OVERLAP) * diameter_um};
    if (n < 2 || !(diameter_um > 0.0))
        return;
    double *places = malloc(3 * n * sizeof *places);
    if (places && nrw_cell_grid_init(&search.grid, n)) {
        search.x = places;
        search.y = places + n;
        search.z = places + 2 * n;
        for (size_t i = 0; i < n; i++) {
            search.x[i] = all[i].at[0];
            search.y[i] = all[i].at[1];
            search.z[i] = isfinite(all[i].at[2]) ? all[i].at[2] : 0.0;
        }
        search_overlaps(doc, &search, n, diameter_um);
        nrw_cell_grid_clear(&search.grid);
    } else
        (void)nrw_yaml_no_memory(doc);
    free(places);
}

/* What mutual induction is derived for. */
static void check_induction(nrw_yaml_doc *doc, const nrw_yaml_node *root,
                            const nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    const nrw_yaml_node *key = nrw_yaml_get(nrw_yaml_get(root, "model"), "mutual_induction");
    if (!key || !scenario->model.mutual_induction)
        return;
    const char *without = particles->kind != NRW_MOMENT_INDUCED  ? "permanent moments"
                          : particles->shape.doublet             ? "doublets"
                          : isfinite(particles->saturation_kA_m) ? "a saturation"
                          : particles->remanent_fAm2 > 0.0       ? "a remanent part"
                                                                 : NULL;
    if (without)
        (void)nrw_yaml_error(doc, key, "false, or spheres with a susceptibility alone",
                             "mutual induction is not derived for %s", without);
}

void nrw_scenario_check_together(nrw_yaml_doc *doc, const nrw_yaml_node *root,
                                 const nrw_scenario *scenario)
{
    const nrw_yaml_node *hold = nrw_yaml_get(nrw_yaml_get(root, "goal"), "hold_s");
    check_depth(doc, root, scenario);
    check_induction(doc, root, scenario);
    check_release(doc, root, scenario);
    if (hold && scenario->deadline_s > 0.0 && scenario->goal.hold_s >= scenario->deadline_s)
        (void)nrw_yaml_error(doc, hold, "less than deadline_s", "%g s is no less than the deadline",
                             scenario->goal.hold_s);
}
