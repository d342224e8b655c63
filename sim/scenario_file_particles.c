#include "scenario_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "doublet.h"
#include "fluid.h"
#include "units.h"

#define N(array) (sizeof(array) / sizeof *(array))

/* --- fluid ------------------------------------------------------------------- */

/* Liquid water at the pressure of the atmosphere. */
static const nrw_yaml_field WATER_FIELDS[] = {
    NRW_OPTIONAL_OTHER("medium"),
    NRW_REQUIRED("temperature_C", NRW_YAML_DOUBLE, nrw_fluid, temperature_C,
                 NRW_FROM_TO(0.0, 100.0)),
    NRW_OPTIONAL_OTHER("viscosity_mPa_s"),
    NRW_OPTIONAL_OTHER("density_kg_m3"),
};

static const nrw_yaml_field CUSTOM_FIELDS[] = {
    NRW_OPTIONAL_OTHER("medium"),
    NRW_REQUIRED("temperature_C", NRW_YAML_DOUBLE, nrw_fluid, temperature_C,
                 NRW_FROM_TO(-100.0, 500.0)),
    NRW_REQUIRED("viscosity_mPa_s", NRW_YAML_DOUBLE, nrw_fluid, viscosity_Pa_s,
                 NRW_ABOVE_TO(0.0, 1e6)),
    NRW_REQUIRED("density_kg_m3", NRW_YAML_DOUBLE, nrw_fluid, density_kg_m3,
                 NRW_ABOVE_TO(0.0, 30000.0)),
};

static void read_water(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_fluid *fluid)
{
    fluid->medium = NRW_MEDIUM_WATER;
    bool good = nrw_yaml_fields(doc, node, WATER_FIELDS, N(WATER_FIELDS), fluid);
    (void)nrw_yaml_refuse_fields(doc, node, &CUSTOM_FIELDS[2], 2,
                                 "medium 'custom' (water has it from the temperature)");
    if (!good)
        return;
    fluid->viscosity_Pa_s = nrw_water_viscosity_Pa_s(fluid->temperature_C + NRW_ZERO_CELSIUS_K);
    fluid->density_kg_m3 = nrw_water_density_kg_m3(fluid->temperature_C);
}

static void read_custom(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_fluid *fluid)
{
    fluid->medium = NRW_MEDIUM_CUSTOM;
    (void)nrw_yaml_fields(doc, node, CUSTOM_FIELDS, N(CUSTOM_FIELDS), fluid);
    fluid->viscosity_Pa_s *= 1e-3; /* read in mPa·s */
}

void nrw_scenario_read_fluid(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_fluid *fluid)
{
    static const char *const media[] = {"water", "custom"};
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    const nrw_yaml_node *medium = nrw_yaml_get(node, "medium");
    bool has_values = nrw_yaml_get(node, "viscosity_mPa_s") || nrw_yaml_get(node, "density_kg_m3");
    int choice = medium ? nrw_yaml_choice(doc, medium, media, N(media)) : -1;
    if (!medium && !has_values)
        (void)nrw_yaml_error_missing(doc, node, "medium",
                                     "water, or viscosity_mPa_s and density_kg_m3 of another");
    if (choice == 1 || (choice < 0 && has_values))
        read_custom(doc, node, fluid);
    else
        read_water(doc, node, fluid);
}

/* --- magnetics --------------------------------------------------------------- */

static const nrw_yaml_field INDUCED_FIELDS[] = {
    NRW_REQUIRED("susceptibility", NRW_YAML_DOUBLE, nrw_particles, susceptibility,
                 NRW_ABOVE_TO(0.0, 1e6)),
    NRW_OPTIONAL("saturation_kA_m", NRW_YAML_DOUBLE, nrw_particles, saturation_kA_m,
                 NRW_ABOVE_TO(0.0, 1e4)),
    NRW_OPTIONAL_OTHER("magnetisation_law"),
    NRW_OPTIONAL("relaxation_time_s", NRW_YAML_DOUBLE, nrw_particles, relaxation_time_s,
                 NRW_FROM_TO(0.0, 1e3)),
    NRW_OPTIONAL("remanent_fAm2", NRW_YAML_DOUBLE, nrw_particles, remanent_fAm2,
                 NRW_FROM_TO(0.0, 1e12)),
};

static const nrw_yaml_field PERMANENT_FIELDS[] = {
    NRW_REQUIRED("moment_fAm2", NRW_YAML_DOUBLE, nrw_particles, moment_fAm2,
                 NRW_ABOVE_TO(0.0, 1e12)),
    NRW_OPTIONAL("moment_cv", NRW_YAML_DOUBLE, nrw_particles, moment_cv, NRW_FROM_TO(0.0, 2.0)),
};

enum { N_INDUCED = N(INDUCED_FIELDS), N_PERMANENT = N(PERMANENT_FIELDS) };

/* The fields of both kinds; those not of `kind` (-1: it can't be told) are not
 * required. */
static void read_kind(nrw_yaml_doc *doc, const nrw_yaml_node *node, int kind,
                      nrw_particles *particles)
{
    nrw_yaml_field fields[1 + N_INDUCED + N_PERMANENT] = {NRW_REQUIRED_OTHER("kind")};
    memcpy(&fields[1], INDUCED_FIELDS, sizeof INDUCED_FIELDS);
    memcpy(&fields[1 + N_INDUCED], PERMANENT_FIELDS, sizeof PERMANENT_FIELDS);
    for (size_t i = 1; i < N(fields); i++)
        if (kind != (i <= N_INDUCED ? NRW_MOMENT_INDUCED : NRW_MOMENT_PERMANENT))
            fields[i].required = false;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), particles);
    if (kind == NRW_MOMENT_INDUCED)
        (void)nrw_yaml_refuse_fields(doc, node, PERMANENT_FIELDS, N_PERMANENT, "kind 'permanent'");
    else if (kind == NRW_MOMENT_PERMANENT)
        (void)nrw_yaml_refuse_fields(doc, node, INDUCED_FIELDS, N_INDUCED, "kind 'induced'");
}

static void read_law(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const char *const laws[] = {"frohlich-kennelly", "langevin"};
    const nrw_yaml_node *law = nrw_yaml_get(node, "magnetisation_law");
    if (!law || particles->kind != NRW_MOMENT_INDUCED)
        return;
    const int choice = nrw_yaml_choice(doc, law, laws, N(laws));
    if (choice >= 0)
        particles->law = (nrw_magnetisation_law)choice;
    if (choice >= 0 && !nrw_yaml_get(node, "saturation_kA_m"))
        (void)nrw_yaml_error_at_key(doc, law, "saturation_kA_m with it",
                                    "needs a saturation: without one the moment is linear");
}

static void read_magnetics(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const char *const kinds[] = {"permanent", "induced"};
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    const nrw_yaml_node *kind = nrw_yaml_get(node, "kind");
    int choice = kind ? nrw_yaml_choice(doc, kind, kinds, N(kinds)) : -1;
    if (choice >= 0)
        particles->kind = (nrw_moment_kind)choice;
    read_kind(doc, node, choice, particles);
    if (choice == NRW_MOMENT_INDUCED)
        read_law(doc, node, particles);
}

/* --- shape ------------------------------------------------------------------- */

static const nrw_yaml_field DOUBLET_FIELDS[] = {
    NRW_REQUIRED("aspect", NRW_YAML_DOUBLE, nrw_particles, shape.aspect, NRW_FROM_TO(1.0, 2.0)),
    NRW_OPTIONAL_OTHER("moment"),
};

static void read_doublet(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const char *const axes[] = {"along", "across"};
    const nrw_yaml_field fields[] = {NRW_REQUIRED_OTHER("kind"), DOUBLET_FIELDS[0],
                                     DOUBLET_FIELDS[1]};
    (void)nrw_yaml_fields(doc, node, fields, N(fields), particles);
    particles->shape.doublet = true;
    const nrw_yaml_node *moment = nrw_yaml_get(node, "moment");
    if (particles->kind == NRW_MOMENT_INDUCED) {
        if (moment)
            (void)nrw_yaml_error_at_key(doc, moment, "leave it out",
                                        "belongs to magnetics of kind 'permanent' (an induced "
                                        "moment follows from the shape)");
        return;
    }
    const int choice = moment ? nrw_yaml_choice(doc, moment, axes, N(axes)) : -1;
    if (choice >= 0)
        particles->shape.moment = (nrw_moment_axis)choice;
    else if (!moment)
        (void)nrw_yaml_error_missing(doc, node, "moment", "along or across (the doublet's axis)");
}

static void read_shape(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const char *const kinds[] = {"sphere", "doublet"};
    static const nrw_yaml_field kind_field[] = {
        NRW_REQUIRED_OTHER("kind"), NRW_OPTIONAL_OTHER("aspect"), NRW_OPTIONAL_OTHER("moment")};
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    const nrw_yaml_node *kind = nrw_yaml_get(node, "kind");
    const int choice = kind ? nrw_yaml_choice(doc, kind, kinds, N(kinds)) : -1;
    if (choice == 1) {
        read_doublet(doc, node, particles);
        return;
    }
    (void)nrw_yaml_fields(doc, node, kind_field, N(kind_field), particles);
    if (choice == 0)
        (void)nrw_yaml_refuse_fields(doc, node, DOUBLET_FIELDS, N(DOUBLET_FIELDS),
                                     "kind 'doublet'");
}

/* --- surface and adhesion ---------------------------------------------------- */

static void read_surface(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("potential_mV", NRW_YAML_DOUBLE, nrw_particles, surface_potential_mV,
                     NRW_FROM_TO(-1000.0, 1000.0)),
        NRW_OPTIONAL("debye_nm", NRW_YAML_DOUBLE, nrw_particles, debye_nm, NRW_ABOVE_TO(0.0, 1e4)),
        NRW_OPTIONAL("roughness_nm", NRW_YAML_DOUBLE, nrw_particles, roughness_nm,
                     NRW_ABOVE_TO(0.0, 1e5)),
        NRW_OPTIONAL("gap_um", NRW_YAML_DOUBLE, nrw_particles, surface_gap_um,
                     NRW_ABOVE_TO(0.0, 1e3)),
    };
    if (!node)
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), particles);
    if (nrw_yaml_get(node, "gap_um"))
        (void)nrw_yaml_refuse_fields(doc, node, fields, 3, "a surface without gap_um");
}

static void read_adhesion(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_particles *particles)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("rate_per_s", NRW_YAML_DOUBLE, nrw_particles, adhesion_rate_per_s,
                     NRW_FROM_TO(0.0, 1e6)),
        NRW_OPTIONAL("release_pN", NRW_YAML_DOUBLE, nrw_particles, adhesion_release_pN,
                     NRW_FROM_TO(0.0, 1e6)),
    };
    if (node)
        (void)nrw_yaml_fields(doc, node, fields, N(fields), particles);
}

/* --- positions --------------------------------------------------------------- */

/* Whether the centre's height leaves the particle between floor and ceiling. */
static void check_height(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                         const nrw_particles *particles, double z_um)
{
    double radius = 0.5 * particles->diameter_um;
    if (particles->shape.doublet)
        radius *= nrw_doublet_shape_of(particles->shape.aspect).lobe;
    if (!map->has_floor || !isfinite(z_um))
        return;
    if (z_um < radius)
        (void)nrw_yaml_error(doc, node->first->next->next,
                             "the height of the centre, at least the radius",
                             "%g µm puts the particle into the floor", z_um);
    else if (z_um + radius > map->depth_um)
        (void)nrw_yaml_error(doc, node->first->next->next,
                             "the height of the centre, a radius below the ceiling at least",
                             "%g µm puts the particle into the ceiling", z_um);
}

static int compare_placed(const void *left, const void *right)
{
    const nrw_placed *a = left, *b = right;
    for (int i = 0; i < 3; i++)
        if (a->at[i] < b->at[i] || a->at[i] > b->at[i])
            return a->at[i] < b->at[i] ? -1 : 1;
    return a->node->index < b->node->index ? -1 : a->node->index > b->node->index;
}

static void check_equal(nrw_yaml_doc *doc, nrw_placed *all, size_t n)
{
    qsort(all, n, sizeof *all, compare_placed);
    for (size_t i = 1; i < n; i++) {
        const double *a = all[i - 1].at, *b = all[i].at;
        if (!(a[0] < b[0]) && !(a[1] < b[1]) && !(a[2] < b[2]) && !(a[1] > b[1]) && !(a[2] > b[2]))
            (void)nrw_yaml_error(doc, all[i].node, "every particle at its own place",
                                 "is the same as position %u", all[i - 1].node->index);
    }
}

/* Reads the positions into memory for all of them; `all` is scratch of as many. */
static void read_each(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                      nrw_particles *particles, nrw_placed *all)
{
    size_t n_good = 0;
    for (const nrw_yaml_node *child = node->first; child; child = child->next) {
        double at[3] = {0.0, 0.0, NAN};
        size_t n;
        bool good = nrw_yaml_vector(doc, child, 2, 3, (nrw_yaml_range)NRW_COORDINATES,
                                    "[x, y] or [x, y, z] in µm", at, &n);
        memcpy(particles->positions_um[child->index], at, sizeof at);
        if (!good)
            continue;
        check_height(doc, child, map, particles, at[2]);
        if (!isfinite(at[2]))
            at[2] = -INFINITY;
        memcpy(all[n_good].at, at, sizeof at);
        all[n_good++].node = child;
    }
    /* doublets come as close as their lobes; how they lie is looked at when they are made */
    const double lobe =
        particles->shape.doublet ? nrw_doublet_shape_of(particles->shape.aspect).lobe : 1.0;
    nrw_scenario_check_overlaps(doc, all, n_good, lobe * particles->diameter_um);
    check_equal(doc, all, n_good); /* sorts them */
}

static void read_positions(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                           nrw_particles *particles)
{
    if (!nrw_yaml_is_list(doc, node, "a list of [x, y] or [x, y, z] in µm"))
        return;
    size_t n = node->n_children;
    if (n == 0) {
        (void)nrw_yaml_error(doc, node, "at least one position", "is an empty list");
        return;
    }
    nrw_placed *all = malloc(n * sizeof *all);
    particles->positions_um = malloc(n * sizeof *particles->positions_um);
    if (all && particles->positions_um) {
        if (particles->count > 0 && particles->count != n)
            (void)nrw_yaml_error(doc, node, "as many as count, or no count",
                                 "are %zu positions for %zu particles", n, particles->count);
        particles->count = n;
        read_each(doc, node, map, particles, all);
    } else
        (void)nrw_yaml_no_memory(doc);
    free(all);
}

static void read_headings(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                          const nrw_yaml_node *positions, nrw_particles *particles)
{
    static const char expected[] = "a list of degrees, one for each of positions_um";
    const bool fixed = particles->kind == NRW_MOMENT_PERMANENT || particles->remanent_fAm2 > 0.0;
    if (!positions || !fixed) {
        (void)nrw_yaml_error_at_key(doc, node, "leave it out",
                                    !positions ? "needs positions_um"
                                               : "belongs to magnetics of kind 'permanent', or "
                                                 "with remanent_fAm2");
        return;
    }
    if (!nrw_yaml_is_list(doc, node, expected) || positions->kind != NRW_YAML_LIST)
        return;
    if (node->n_children != positions->n_children) {
        (void)nrw_yaml_error(doc, node, expected, "is a list of %u for %u positions",
                             node->n_children, positions->n_children);
        return;
    }
    particles->moments_deg = malloc((node->n_children + 1) * sizeof *particles->moments_deg);
    if (!particles->moments_deg)
        (void)nrw_yaml_no_memory(doc);
    else
        (void)nrw_yaml_vector(doc, node, 0, node->n_children,
                              (nrw_yaml_range)NRW_FROM_TO(-3600.0, 3600.0), expected,
                              particles->moments_deg, NULL);
}

/* --- particles --------------------------------------------------------------- */

void nrw_scenario_read_particles(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                                 nrw_particles *particles)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("count", NRW_YAML_COUNT, nrw_particles, count, NRW_FROM_TO(1, 10000000)),
        NRW_OPTIONAL_OTHER("positions_um"),
        NRW_REQUIRED("diameter_um", NRW_YAML_DOUBLE, nrw_particles, diameter_um,
                     NRW_FROM_TO(0.05, 1000.0)),
        NRW_OPTIONAL("diameter_cv", NRW_YAML_DOUBLE, nrw_particles, diameter_cv,
                     NRW_FROM_TO(0.0, 2.0)),
        NRW_REQUIRED("density_kg_m3", NRW_YAML_DOUBLE, nrw_particles, density_kg_m3,
                     NRW_ABOVE_TO(0.0, 30000.0)),
        NRW_REQUIRED_OTHER("magnetics"),
        NRW_OPTIONAL_OTHER("shape"),
        NRW_OPTIONAL_OTHER("moments_deg"),
        NRW_OPTIONAL_OTHER("surface"),
        NRW_OPTIONAL_OTHER("adhesion"),
    };
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), particles);
    const nrw_yaml_node *positions = nrw_yaml_get(node, "positions_um");
    const nrw_yaml_node *headings = nrw_yaml_get(node, "moments_deg");
    read_magnetics(doc, nrw_yaml_get(node, "magnetics"), particles);
    read_shape(doc, nrw_yaml_get(node, "shape"), particles);
    if (positions)
        read_positions(doc, positions, map, particles);
    else if (!nrw_yaml_get(node, "count"))
        (void)nrw_yaml_error_missing(doc, node, "count",
                                     "a whole number from 1 to 10000000, or positions_um");
    if (headings)
        read_headings(doc, headings, positions, particles);
    read_surface(doc, nrw_yaml_get(node, "surface"), particles);
    read_adhesion(doc, nrw_yaml_get(node, "adhesion"), particles);
}
