#include "scenario_file.h"

#include <math.h>

#define N(array) (sizeof(array) / sizeof *(array))

/* --- rig --------------------------------------------------------------------- */

static void read_axis(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig_axis *axis)
{
    const nrw_yaml_field fields[] = {
        {"mT_per_A", NRW_YAML_DOUBLE, !nrw_yaml_get(node, "pair"), offsetof(nrw_rig_axis, mT_per_A),
         NRW_FROM_TO(-1e6, 1e6)},
        NRW_REQUIRED("resistance_ohm", NRW_YAML_DOUBLE, nrw_rig_axis, resistance_ohm,
                     NRW_FROM_TO(0.0, 1e6)),
        NRW_REQUIRED("inductance_mH", NRW_YAML_DOUBLE, nrw_rig_axis, inductance_mH,
                     NRW_FROM_TO(0.0, 1e6)),
        NRW_REQUIRED("current_max_A", NRW_YAML_DOUBLE, nrw_rig_axis, current_max_A,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_REQUIRED("voltage_max_V", NRW_YAML_DOUBLE, nrw_rig_axis, voltage_max_V,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_COIL_EXTRAS_FIELDS(nrw_rig_axis),
    };
    axis->present = true;
    const bool good = nrw_yaml_fields(doc, node, fields, N(fields), axis);
    const double from_geometry = nrw_scenario_read_coil_extras(doc, node, &axis->extras, NULL);
    if (!nrw_yaml_get(node, "mT_per_A"))
        axis->mT_per_A = from_geometry;
    else if (good && !(fabs(axis->mT_per_A) > 0.0))
        (void)nrw_yaml_error(doc, nrw_yaml_get(node, "mT_per_A"), "another number than 0",
                             "0 is a coil without field");
}

/* Coils that nothing is known of: only the rig as a whole has limits. */
static void assume_axes(nrw_rig *rig)
{
    for (int i = 0; i < 3; i++)
        rig->axes[i] = (nrw_rig_axis){
            .present = true, .mT_per_A = 1.0, .current_max_A = INFINITY, .voltage_max_V = INFINITY};
}

static void read_axes(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig *rig)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("x"),
        NRW_REQUIRED_OTHER("y"),
        NRW_OPTIONAL_OTHER("z"),
    };
    if (!nrw_yaml_is_map(doc, node))
        return;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), NULL);
    for (size_t i = 0; i < 3; i++) {
        const nrw_yaml_node *axis = nrw_yaml_get(node, fields[i].key);
        if (axis)
            read_axis(doc, axis, &rig->axes[i]);
    }
}

void nrw_scenario_read_rig(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig *rig)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("field_max_mT", NRW_YAML_DOUBLE, nrw_rig, field_max_mT,
                     NRW_ABOVE_TO(0.0, 1e4)),
        NRW_REQUIRED("frequency_max_Hz", NRW_YAML_DOUBLE, nrw_rig, frequency_max_Hz,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_OPTIONAL("sample_rate_Hz", NRW_YAML_DOUBLE, nrw_rig, sample_rate_Hz,
                     NRW_ABOVE_TO(0.0, 1e9)),
        NRW_OPTIONAL("rotation_deg", NRW_YAML_DOUBLE, nrw_rig, rotation_deg,
                     NRW_FROM_TO(-360.0, 360.0)),
        NRW_OPTIONAL("room_C", NRW_YAML_DOUBLE, nrw_rig, room_C, NRW_ABOVE_TO(0.0, 100.0)),
        NRW_OPTIONAL_OTHER("axes"),
        NRW_OPTIONAL_OTHER("coils"),
        NRW_OPTIONAL_OTHER("calibration"),
        NRW_OPTIONAL_OTHER("mutual_mH"),
        NRW_OPTIONAL_OTHER("amplifier_gain"),
        NRW_OPTIONAL_OTHER("ambient_uT"),
    };
    if (!node || !nrw_yaml_is_map(doc, node))
        return;
    rig->present = true;
    rig->sample_rate_Hz = 10000.0;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), rig);
    const nrw_yaml_node *axes = nrw_yaml_get(node, "axes");
    if (axes)
        read_axes(doc, axes, rig);
    else if (!nrw_yaml_get(node, "coils"))
        assume_axes(rig);
    nrw_scenario_read_coils(doc, node, rig);
}

/* --- imaging, uncertainty, model --------------------------------------------- */

void nrw_scenario_read_imaging(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_imaging *imaging)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("frame_rate_Hz", NRW_YAML_DOUBLE, nrw_imaging, frame_rate_Hz,
                     NRW_ABOVE_TO(0.0, 1e5)),
        NRW_OPTIONAL("pixel_um", NRW_YAML_DOUBLE, nrw_imaging, pixel_um, NRW_FROM_TO(0.0, 1e4)),
        NRW_OPTIONAL("centroid_noise_um", NRW_YAML_DOUBLE, nrw_imaging, centroid_noise_um,
                     NRW_FROM_TO(0.0, 1e4)),
        NRW_OPTIONAL("smallest_visible_um2", NRW_YAML_DOUBLE, nrw_imaging, smallest_visible_um2,
                     NRW_FROM_TO(0.0, 1e12)),
    };
    if (node)
        (void)nrw_yaml_fields(doc, node, fields, N(fields), imaging);
}

void nrw_scenario_read_uncertainty(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                                   nrw_uncertainty *uncertainty)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL("moment_cv", NRW_YAML_DOUBLE, nrw_uncertainty, moment_cv,
                     NRW_FROM_TO(0.0, 2.0)),
        NRW_OPTIONAL("viscosity_cv", NRW_YAML_DOUBLE, nrw_uncertainty, viscosity_cv,
                     NRW_FROM_TO(0.0, 2.0)),
        NRW_OPTIONAL("rolling_cv", NRW_YAML_DOUBLE, nrw_uncertainty, rolling_cv,
                     NRW_FROM_TO(0.0, 2.0)),
        NRW_OPTIONAL("pair_flow_cv", NRW_YAML_DOUBLE, nrw_uncertainty, pair_flow_cv,
                     NRW_FROM_TO(0.0, 2.0)),
    };
    if (node)
        (void)nrw_yaml_fields(doc, node, fields, N(fields), uncertainty);
}

void nrw_scenario_read_model(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_model_options *model)
{
    static const nrw_yaml_field fields[] = {
        NRW_OPTIONAL_SWITCH("brownian", nrw_model_options, brownian),
        NRW_OPTIONAL_SWITCH("gravity", nrw_model_options, gravity),
        NRW_OPTIONAL_SWITCH("pair_flow", nrw_model_options, pair_flow),
        NRW_OPTIONAL_SWITCH("mutual_induction", nrw_model_options, mutual_induction),
        NRW_OPTIONAL_SWITCH("wall_drag", nrw_model_options, wall_drag),
        NRW_OPTIONAL_SWITCH("wall_screening", nrw_model_options, wall_screening),
        NRW_OPTIONAL("rolling_factor", NRW_YAML_DOUBLE, nrw_model_options, rolling_factor,
                     NRW_FROM_TO(0.0, 100.0)),
        NRW_OPTIONAL("pair_flow_factor", NRW_YAML_DOUBLE, nrw_model_options, pair_flow_factor,
                     NRW_FROM_TO(0.0, 100.0)),
        NRW_OPTIONAL("contact_brake_factor", NRW_YAML_DOUBLE, nrw_model_options,
                     contact_brake_factor, NRW_FROM_TO(0.0, 100.0)),
        NRW_OPTIONAL_SWITCH("contact_sliding", nrw_model_options, contact_sliding),
        NRW_OPTIONAL("contact_stiffness_pN_um", NRW_YAML_DOUBLE, nrw_model_options,
                     contact_stiffness_pN_um, NRW_FROM_TO(20.0, 1000.0)),
    };
    if (node)
        (void)nrw_yaml_fields(doc, node, fields, N(fields), model);
}
