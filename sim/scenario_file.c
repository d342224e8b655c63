#include "scenario_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "doublet.h"
#include "sha256.h"

static const nrw_yaml_field FIELDS[] = {
    NRW_OPTIONAL_OTHER("format"),
    NRW_OPTIONAL_OTHER("title"),
    NRW_REQUIRED_OTHER("fluid"),
    NRW_REQUIRED_OTHER("particles"),
    NRW_REQUIRED_OTHER("channel"),
    NRW_OPTIONAL_OTHER("flow"),
    NRW_OPTIONAL_OTHER("release"),
    NRW_REQUIRED_OTHER("target"),
    NRW_OPTIONAL_OTHER("route"),
    NRW_REQUIRED("deadline_s", NRW_YAML_DOUBLE, nrw_scenario, deadline_s, NRW_ABOVE_TO(0.0, 1e7)),
    NRW_OPTIONAL_OTHER("goal"),
    NRW_OPTIONAL_OTHER("rig"),
    NRW_OPTIONAL_OTHER("imaging"),
    NRW_OPTIONAL_OTHER("uncertainty"),
    NRW_OPTIONAL_OTHER("model"),
    NRW_OPTIONAL_OTHER("sweep"),
};

/* Defaults of contract section 2; pointers NULL, everything else 0 or false. */
static void set_defaults(nrw_scenario *scenario)
{
    nrw_particles *particles = &scenario->particles;
    particles->saturation_kA_m = INFINITY;
    particles->shape.aspect = 1.0;
    particles->surface_potential_mV = 50.0;
    particles->debye_nm = 10.0;
    particles->roughness_nm = 5.0;
    particles->surface_gap_um = NAN;
    particles->adhesion_release_pN = 0.5;
    scenario->map.has_floor = true;
    scenario->map.depth_um = INFINITY;
    scenario->release = (nrw_place){.node = -1};
    scenario->target = (nrw_place){.node = -1};
    scenario->goal.fraction_min = 0.3;
    scenario->imaging.frame_rate_Hz = 10.0;
    scenario->model = (nrw_model_options){.brownian = true,
                                          .gravity = true,
                                          .pair_flow = true,
                                          .rolling_factor = 1.0,
                                          .pair_flow_factor = 1.0,
                                          .contact_brake_factor = 1.0,
                                          .contact_sliding = true,
                                          .wall_screening = true,
                                          .contact_stiffness_pN_um = 150.0};
}

static void read_title(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_scenario *scenario)
{
    const char *text = node ? nrw_yaml_text(doc, node, "text") : "";
    if (!text)
        return;
    scenario->title = strdup(text);
    if (!scenario->title)
        (void)nrw_yaml_no_memory(doc);
}

/* Positions of particles stand in for a release: its centre is their mean. */
static void release_from_positions(nrw_scenario *scenario)
{
    const nrw_particles *particles = &scenario->particles;
    nrw_place *release = &scenario->release;
    double x = 0.0, y = 0.0, farthest = 0.0;
    if (!particles->positions_um)
        return;
    for (size_t i = 0; i < particles->count; i++) {
        x += particles->positions_um[i][0] / (double)particles->count;
        y += particles->positions_um[i][1] / (double)particles->count;
    }
    for (size_t i = 0; i < particles->count; i++)
        farthest = fmax(
            farthest, hypot(particles->positions_um[i][0] - x, particles->positions_um[i][1] - y));
    release->at_um[0] = x;
    release->at_um[1] = y;
    release->radius_um = farthest + 0.5 * particles->diameter_um;
}

/* What is not derived for doublets. */
static void check_shape(nrw_yaml_doc *doc, const nrw_yaml_node *root, const nrw_scenario *scenario)
{
    const nrw_yaml_node *shape = nrw_yaml_get(nrw_yaml_get(root, "particles"), "shape");
    const char *instead, *reason = nrw_doublet_refusal(scenario, &instead);
    if (shape && scenario->particles.shape.doublet && reason)
        (void)nrw_yaml_error(doc, nrw_yaml_get(shape, "kind"), instead, "%s", reason);
}

static void read_job(nrw_yaml_doc *doc, const nrw_yaml_node *root, nrw_scenario *scenario)
{
    const nrw_yaml_node *positions = nrw_yaml_get(nrw_yaml_get(root, "particles"), "positions_um");
    const nrw_yaml_node *release = nrw_yaml_get(root, "release");
    nrw_scenario_read_release(doc, release, scenario);
    if (!release && !positions)
        (void)nrw_yaml_error_missing(doc, root, "release",
                                     "it is required without particles.positions_um");
    else if (!release)
        release_from_positions(scenario);
    nrw_scenario_read_target(doc, nrw_yaml_get(root, "target"), scenario);
    nrw_scenario_read_route(doc, nrw_yaml_get(root, "route"), scenario);
    nrw_scenario_read_goal(doc, nrw_yaml_get(root, "goal"), scenario);
    nrw_scenario_read_sweep(doc, nrw_yaml_get(root, "sweep"), scenario);
}

static void read_root(nrw_yaml_doc *doc, const nrw_yaml_node *root, nrw_scenario *scenario)
{
    /* Of a file of another format nothing else can be judged. */
    if (!nrw_yaml_format(doc, root, "narrows-scenario", "narrows-schedule") &&
        nrw_yaml_get(root, "format"))
        return;
    (void)nrw_yaml_fields(doc, root, FIELDS, sizeof FIELDS / sizeof *FIELDS, scenario);
    read_title(doc, nrw_yaml_get(root, "title"), scenario);
    nrw_scenario_read_fluid(doc, nrw_yaml_get(root, "fluid"), &scenario->fluid);
    nrw_scenario_read_map(doc, nrw_yaml_get(root, "channel"), &scenario->map);
    nrw_scenario_read_particles(doc, nrw_yaml_get(root, "particles"), &scenario->map,
                                &scenario->particles);
    nrw_scenario_read_flow(doc, nrw_yaml_get(root, "flow"), scenario);
    read_job(doc, root, scenario);
    nrw_scenario_read_rig(doc, nrw_yaml_get(root, "rig"), &scenario->rig);
    nrw_scenario_read_calibration(doc, nrw_yaml_get(root, "rig"), scenario);
    nrw_scenario_read_imaging(doc, nrw_yaml_get(root, "imaging"), &scenario->imaging);
    nrw_scenario_read_uncertainty(doc, nrw_yaml_get(root, "uncertainty"), &scenario->uncertainty);
    nrw_scenario_read_model(doc, nrw_yaml_get(root, "model"), &scenario->model);
    nrw_scenario_check_together(doc, root, scenario);
    nrw_scenario_read_mask(doc, nrw_yaml_get(root, "channel"), scenario);
    nrw_scenario_check_flow(doc, nrw_yaml_get(root, "flow"), scenario);
    check_shape(doc, root, scenario);
}

/* Takes a terminated copy of the text over, also when it fails. */
static nrw_status parse_owned(char *text, size_t size, const char *name, nrw_scenario **result,
                              nrw_errors *errors)
{
    nrw_yaml_doc *doc = NULL;
    nrw_scenario *scenario = calloc(1, sizeof *scenario);
    if (!scenario) {
        free(text);
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory to read '%s'", name);
    }
    set_defaults(scenario);
    scenario->text = text;
    scenario->text_size = size;
    scenario->path = strdup(name);
    nrw_sha256_hex(text, size, scenario->sha256);
    nrw_status status = nrw_yaml_create(text, size, name, errors, &doc);
    if (status == NRW_OK && !scenario->path)
        (void)nrw_yaml_no_memory(doc);
    if (status == NRW_OK) {
        if (nrw_yaml_root(doc))
            read_root(doc, nrw_yaml_root(doc), scenario);
        status = nrw_yaml_finish(doc);
    }
    nrw_yaml_destroy(doc);
    if (status == NRW_OK)
        *result = scenario;
    else
        nrw_scenario_destroy(scenario);
    return status;
}

nrw_status nrw_scenario_parse(const char *text, size_t size, const char *name,
                              nrw_scenario **scenario, nrw_errors *errors)
{
    *scenario = NULL;
    char *copy = malloc(size + 1);
    if (!copy)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory to read '%s'", name);
    if (size > 0)
        memcpy(copy, text, size);
    copy[size] = '\0';
    return parse_owned(copy, size, name, scenario, errors);
}

nrw_status nrw_scenario_load(const char *path, nrw_scenario **scenario, nrw_errors *errors)
{
    char *text;
    size_t size;
    *scenario = NULL;
    nrw_status status = nrw_yaml_load_text(path, &text, &size, errors);
    return status == NRW_OK ? parse_owned(text, size, path, scenario, errors) : status;
}
