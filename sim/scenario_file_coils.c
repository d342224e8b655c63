/* The rig block beyond the contract's axes: coils of any direction, calibration,
 * coupling, amplifiers, surroundings (docs/export.md, section 2). */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"
#include "scenario_file.h"
#include "sha256.h"

#define N(array) (sizeof(array) / sizeof *(array))

/* µ0 in mT·mm/A */
#define MU0_MT_MM_A (0.4 * NRW_PI)

/* --- one coil ------------------------------------------------------------------ */

static void read_thermal(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig_coil_extras *extras)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("resistance_K_W", NRW_YAML_DOUBLE, nrw_rig_coil_extras, thermal_resistance_K_W,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_REQUIRED("capacity_J_K", NRW_YAML_DOUBLE, nrw_rig_coil_extras, thermal_capacity_J_K,
                     NRW_ABOVE_TO(0.0, 1e9)),
        NRW_OPTIONAL("temperature_max_C", NRW_YAML_DOUBLE, nrw_rig_coil_extras, temperature_max_C,
                     NRW_ABOVE_TO(0.0, 1000.0)),
    };
    (void)nrw_yaml_fields(doc, node, fields, N(fields), extras);
}

/* Field per ampere in the middle of two loops of N turns, radius R, spacing d, by
 * Biot and Savart on the axis: µ0 N R²/(R² + d²/4)^1.5 (Jackson, section 5.5). */
static double pair_mT_per_A(const nrw_rig_coil_extras *extras)
{
    const double r = extras->pair_radius_mm, half = 0.5 * extras->pair_spacing_mm;
    return MU0_MT_MM_A * extras->pair_turns * r * r / pow(r * r + half * half, 1.5);
}

static double read_pair(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig_coil_extras *extras,
                        double axis[3])
{
    const nrw_yaml_field fields[] = {
        NRW_REQUIRED("radius_mm", NRW_YAML_DOUBLE, nrw_rig_coil_extras, pair_radius_mm,
                     NRW_ABOVE_TO(0.0, 1e5)),
        NRW_REQUIRED("spacing_mm", NRW_YAML_DOUBLE, nrw_rig_coil_extras, pair_spacing_mm,
                     NRW_FROM_TO(0.0, 1e5)),
        NRW_REQUIRED("turns", NRW_YAML_DOUBLE, nrw_rig_coil_extras, pair_turns,
                     NRW_ABOVE_TO(0.0, 1e7)),
        NRW_REQUIRED_OTHER("axis"),
    };
    static const nrw_yaml_range any = NRW_FROM_TO(-1e6, 1e6);
    bool good = nrw_yaml_fields(doc, node, fields, N(fields) - (axis ? 0 : 1), extras);
    const nrw_yaml_node *direction = nrw_yaml_get(node, "axis");
    if (axis && direction)
        good =
            nrw_yaml_vector(doc, direction, 3, 3, any, "[x, y, z], not all 0", axis, NULL) && good;
    if (axis && good) {
        const double size = sqrt(axis[0] * axis[0] + axis[1] * axis[1] + axis[2] * axis[2]);
        if (!(size > 0.0)) {
            (void)nrw_yaml_error(doc, direction, "[x, y, z], not all 0", "has no direction");
            return 0.0;
        }
        for (int i = 0; i < 3; i++)
            axis[i] /= size;
    }
    return good ? pair_mT_per_A(extras) : 0.0;
}

double nrw_scenario_read_coil_extras(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                                     nrw_rig_coil_extras *extras, double axis[3])
{
    const nrw_yaml_node *thermal = nrw_yaml_get(node, "thermal");
    const nrw_yaml_node *pair = nrw_yaml_get(node, "pair");
    if (thermal)
        read_thermal(doc, thermal, extras);
    return pair ? read_pair(doc, pair, extras, axis) : 0.0;
}

/* --- coils --------------------------------------------------------------------- */

static void read_coil(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_rig_coil *coil)
{
    static const char expected[] = "[x, y, z] in mT/A, not all 0";
    static const nrw_yaml_range any = NRW_FROM_TO(-1e6, 1e6);
    const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("name"),
        {"mT_per_A", NRW_YAML_OTHER, !nrw_yaml_get(node, "pair"), 0, NRW_FROM_TO(0, 0)},
        NRW_REQUIRED("resistance_ohm", NRW_YAML_DOUBLE, nrw_rig_coil, resistance_ohm,
                     NRW_FROM_TO(0.0, 1e6)),
        NRW_REQUIRED("inductance_mH", NRW_YAML_DOUBLE, nrw_rig_coil, inductance_mH,
                     NRW_FROM_TO(0.0, 1e6)),
        NRW_REQUIRED("current_max_A", NRW_YAML_DOUBLE, nrw_rig_coil, current_max_A,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_REQUIRED("voltage_max_V", NRW_YAML_DOUBLE, nrw_rig_coil, voltage_max_V,
                     NRW_ABOVE_TO(0.0, 1e6)),
        NRW_COIL_EXTRAS_FIELDS(nrw_rig_coil),
    };
    if (!nrw_yaml_fields(doc, node, fields, N(fields), coil))
        return;
    (void)nrw_yaml_name(doc, nrw_yaml_get(node, "name"), coil->name, sizeof coil->name);
    double axis[3] = {0.0, 0.0, 0.0};
    const double from_geometry = nrw_scenario_read_coil_extras(doc, node, &coil->extras, axis);
    const nrw_yaml_node *measured = nrw_yaml_get(node, "mT_per_A");
    for (int i = 0; i < 3; i++)
        coil->mT_per_A[i] = from_geometry * axis[i];
    if (!measured || !nrw_yaml_vector(doc, measured, 3, 3, any, expected, coil->mT_per_A, NULL))
        return;
    if (!(fabs(coil->mT_per_A[0]) + fabs(coil->mT_per_A[1]) + fabs(coil->mT_per_A[2]) > 0.0))
        (void)nrw_yaml_error(doc, measured, expected, "is a coil without field");
}

static void refuse_twins(nrw_yaml_doc *doc, const nrw_yaml_node *list, const nrw_rig *rig)
{
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        for (unsigned i = 0; i < child->index; i++)
            if (rig->coils[i].name[0] &&
                strcmp(rig->coils[i].name, rig->coils[child->index].name) == 0)
                (void)nrw_yaml_error(doc, child, "a name of its own", "has the name '%s' again",
                                     rig->coils[i].name);
}

static void read_list(nrw_yaml_doc *doc, const nrw_yaml_node *rig_node, nrw_rig *rig)
{
    const nrw_yaml_node *list = nrw_yaml_get(rig_node, "coils");
    const nrw_yaml_node *axes = nrw_yaml_get(rig_node, "axes");
    if (!list || !nrw_yaml_is_list(doc, list, "a list of coils"))
        return;
    if (axes)
        (void)nrw_yaml_error_at_key(doc, axes, "either axes or coils", "stands beside coils");
    if (list->n_children < 1 || list->n_children > NRW_RIG_COILS_MAX) {
        (void)nrw_yaml_error(doc, list, "1 to 16 coils", "is a list of %u", list->n_children);
        return;
    }
    rig->n_coils = list->n_children;
    for (const nrw_yaml_node *child = list->first; child; child = child->next)
        read_coil(doc, child, &rig->coils[child->index]);
    refuse_twins(doc, list, rig);
}

/* Index of a coil, or of an axis where the rig has axes; -1: none. */
static int coil_named(const nrw_rig *rig, const char *name)
{
    static const char *const axes[] = {"x", "y", "z"};
    for (size_t i = 0; i < rig->n_coils; i++)
        if (strcmp(rig->coils[i].name, name) == 0)
            return (int)i;
    for (int i = 0; i < 3 && rig->n_coils == 0; i++)
        if (rig->axes[i].present && strcmp(axes[i], name) == 0)
            return i;
    return -1;
}

static int read_coil_name(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_rig *rig)
{
    static const char expected[] = "the name of a coil, or x, y, z where the rig has axes";
    const char *name = nrw_yaml_text(doc, node, expected);
    const int coil = name ? coil_named(rig, name) : -1;
    if (name && coil < 0)
        (void)nrw_yaml_error(doc, node, expected, "'%.60s' is no coil of this rig", name);
    return coil;
}

static double inductance_of(const nrw_rig *rig, int coil)
{
    return rig->n_coils > 0 ? rig->coils[coil].inductance_mH : rig->axes[coil].inductance_mH;
}

static void read_mutual(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_rig *rig)
{
    static const char expected[] = "a list of [coil, coil, mH]";
    static const nrw_yaml_range any = NRW_FROM_TO(-1e6, 1e6);
    if (!list || !nrw_yaml_is_list(doc, list, expected))
        return;
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        if (!nrw_yaml_is_list(doc, child, expected))
            continue;
        if (child->n_children != 3) {
            (void)nrw_yaml_error(doc, child, expected, "is a list of %u", child->n_children);
            continue;
        }
        const nrw_yaml_node *first = child->first, *second = first->next;
        const int a = read_coil_name(doc, first, rig), b = read_coil_name(doc, second, rig);
        double mutual;
        if (!nrw_yaml_number(doc, second->next, any, &mutual) || a < 0 || b < 0)
            continue;
        if (a == b || mutual * mutual > inductance_of(rig, a) * inductance_of(rig, b)) {
            (void)nrw_yaml_error(doc, child,
                                 "two coils, and at most the root of the product of "
                                 "their inductances",
                                 "can't be a mutual inductance");
            continue;
        }
        rig->mutual_mH[a][b] = rig->mutual_mH[b][a] = mutual;
    }
}

static void read_gains(nrw_yaml_doc *doc, const nrw_yaml_node *list, nrw_rig *rig)
{
    static const char expected[] =
        "a list of [Hz, amperes out per ampere asked for, degrees ahead], frequencies rising";
    static const nrw_yaml_range any = NRW_FROM_TO(-1e9, 1e9);
    if (!list || !nrw_yaml_is_list(doc, list, expected))
        return;
    if (list->n_children < 1 || list->n_children > NRW_RIG_GAINS_MAX) {
        (void)nrw_yaml_error(doc, list, expected, "is a list of %u", list->n_children);
        return;
    }
    for (const nrw_yaml_node *child = list->first; child; child = child->next) {
        double v[3] = {0.0, 1.0, 0.0};
        if (!nrw_yaml_vector(doc, child, 3, 3, any, expected, v, NULL))
            continue;
        const double before = child->index ? rig->gains[child->index - 1].frequency_Hz : -1.0;
        if (!(v[0] > before && v[0] >= 0.0 && v[1] > 0.0))
            (void)nrw_yaml_error(doc, child, expected, "doesn't rise, or has no gain");
        rig->gains[child->index] = (nrw_rig_gain){v[0], v[1], v[2]};
    }
    rig->n_gains = list->n_children;
}

void nrw_scenario_read_coils(nrw_yaml_doc *doc, const nrw_yaml_node *rig_node, nrw_rig *rig)
{
    static const nrw_yaml_range any = NRW_FROM_TO(-1e6, 1e6);
    const nrw_yaml_node *ambient = nrw_yaml_get(rig_node, "ambient_uT");
    read_list(doc, rig_node, rig);
    read_mutual(doc, nrw_yaml_get(rig_node, "mutual_mH"), rig);
    read_gains(doc, nrw_yaml_get(rig_node, "amplifier_gain"), rig);
    if (ambient)
        (void)nrw_yaml_vector(doc, ambient, 3, 3, any, "[x, y, z] in µT, map frame",
                              rig->ambient_uT, NULL);
}

/* --- calibration ---------------------------------------------------------------- */

/* Axes as coils, so that they can have parts across. */
static void axes_to_coils(nrw_rig *rig)
{
    static const char names[3][2] = {"x", "y", "z"};
    double mutual[3][3];
    int source[3];
    for (int i = 0; i < 3; i++) {
        memcpy(mutual[i], rig->mutual_mH[i], sizeof mutual[i]);
        const nrw_rig_axis *axis = &rig->axes[i];
        if (!axis->present)
            continue;
        source[rig->n_coils] = i;
        nrw_rig_coil *coil = &rig->coils[rig->n_coils++];
        memset(coil, 0, sizeof *coil);
        memcpy(coil->name, names[i], sizeof names[i]);
        coil->mT_per_A[i] = axis->mT_per_A;
        coil->resistance_ohm = axis->resistance_ohm;
        coil->inductance_mH = axis->inductance_mH;
        coil->current_max_A = axis->current_max_A;
        coil->voltage_max_V = axis->voltage_max_V;
        coil->extras = axis->extras;
    }
    for (size_t k = 0; k < rig->n_coils; k++)
        for (size_t l = 0; l < rig->n_coils; l++)
            rig->mutual_mH[k][l] = mutual[source[k]][source[l]];
}

static bool read_row(const nrw_csv_table *table, size_t record, nrw_rig *rig)
{
    static const char *const columns[3] = {"x_mT_per_A", "y_mT_per_A", "z_mT_per_A"};
    const int coil = coil_named(rig, nrw_csv_field(table, record, nrw_csv_column(table, "coil")));
    double size = 0.0;
    for (int i = 0; i < 3 && coil >= 0; i++) {
        const double value = nrw_csv_value(table, record, nrw_csv_column(table, columns[i]));
        rig->coils[coil].mT_per_A[i] = value;
        size += fabs(value);
    }
    return coil >= 0 && isfinite(size) && size > 0.0;
}

static void read_table(nrw_yaml_doc *doc, const nrw_yaml_node *node, const char *path,
                       const nrw_csv_table *table, nrw_rig *rig)
{
    static const char expected[] = "a CSV file with coil,x_mT_per_A,y_mT_per_A,z_mT_per_A and a "
                                   "row for each coil of the rig";
    if (nrw_csv_column(table, "coil") < 0 || nrw_csv_column(table, "x_mT_per_A") < 0 ||
        nrw_csv_column(table, "y_mT_per_A") < 0 || nrw_csv_column(table, "z_mT_per_A") < 0) {
        (void)nrw_yaml_error(doc, node, expected, "'%.200s' lacks a column", path);
        return;
    }
    if (rig->n_coils == 0)
        axes_to_coils(rig);
    bool seen[NRW_RIG_COILS_MAX] = {false};
    for (size_t i = 1; i < table->n_records; i++) {
        const int coil = coil_named(rig, nrw_csv_field(table, i, nrw_csv_column(table, "coil")));
        if (!read_row(table, i, rig) || seen[coil]) {
            (void)nrw_yaml_error(doc, node, expected, "'%.200s': record %zu is no row of it", path,
                                 i + 1);
            return;
        }
        seen[coil] = true;
    }
    for (size_t k = 0; k < rig->n_coils; k++)
        if (!seen[k])
            (void)nrw_yaml_error(doc, node, expected, "'%.200s' has no row for coil '%s'", path,
                                 rig->coils[k].name);
}

char *nrw_scenario_beside(const char *scenario_path, const char *file)
{
    const char *slash = scenario_path ? strrchr(scenario_path, '/') : NULL;
    const size_t length = file[0] != '/' && slash ? (size_t)(slash - scenario_path) + 1 : 0;
    char *path = malloc(length + strlen(file) + 1);
    if (!path)
        return NULL;
    if (length > 0)
        memcpy(path, scenario_path, length);
    memcpy(path + length, file, strlen(file) + 1);
    return path;
}

char *nrw_scenario_load_beside(nrw_yaml_doc *doc, const nrw_yaml_node *node,
                               const char *scenario_path, const char *file, const char *expected,
                               char **bytes, size_t *n_bytes)
{
    const char *slash = strrchr(file, '/');
    const char *names[2] = {file, slash ? slash + 1 : file};
    for (int k = 0; k < 2; k++) {
        char *path = nrw_scenario_beside(scenario_path, names[k]);
        if (!path) {
            (void)nrw_yaml_no_memory(doc);
            return NULL;
        }
        if (nrw_yaml_load_text(path, bytes, n_bytes, NULL) == NRW_OK)
            return path;
        free(path);
    }
    (void)nrw_yaml_error(doc, node, expected, "can't read '%.200s'", file);
    return NULL;
}

void nrw_scenario_read_calibration(nrw_yaml_doc *doc, const nrw_yaml_node *rig_node,
                                   nrw_scenario *scenario)
{
    const nrw_yaml_node *node = nrw_yaml_get(rig_node, "calibration");
    const char *file = node ? nrw_yaml_text(doc, node, "the name of a CSV file") : NULL;
    if (!file)
        return;
    nrw_csv_table table = {0};
    scenario->calibration_path =
        nrw_scenario_load_beside(doc, node, scenario->path, file, "a CSV file beside the scenario",
                                 &scenario->calibration, &scenario->calibration_size);
    if (!scenario->calibration_path)
        return;
    nrw_sha256_hex(scenario->calibration, scenario->calibration_size, scenario->calibration_sha256);
    if (nrw_csv_parse(scenario->calibration, scenario->calibration_size, &table) != 0)
        (void)nrw_yaml_error(doc, node, "a CSV file", "'%.200s' is no CSV file", file);
    else
        read_table(doc, node, file, &table, &scenario->rig);
    nrw_csv_table_clear(&table);
}
