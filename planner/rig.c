#include "rig.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <gsl/gsl_linalg.h>

/* Singular values below this share of the largest count as none: a direction
 * that needs a million times the current of another can't be driven. */
#define RANK_TOLERANCE 1e-6

static bool coil_is_usable(const nrw_rig_coil *coil)
{
    double size2 = 0.0;
    for (int r = 0; r < 3; r++)
        size2 += coil->mT_per_A[r] * coil->mT_per_A[r];
    return isfinite(size2) && size2 > 0.0 && isfinite(coil->resistance_ohm) &&
           isfinite(coil->inductance_mH) && coil->resistance_ohm >= 0.0 &&
           coil->inductance_mH >= 0.0 && coil->current_max_A > 0.0 && coil->voltage_max_V > 0.0;
}

static double or_none(double limit)
{
    return limit > 0.0 ? limit : INFINITY;
}

/* Adds a coil whose mT_per_A stands in the map's frame. */
static nrw_status add_coil(nrw_rig_model *model, const nrw_rig_coil *coil, nrw_errors *errors)
{
    if (!coil_is_usable(coil))
        return nrw_errors_add(errors, NRW_BAD_INPUT,
                              "mT_per_A not 0, limits above 0, resistance and inductance not "
                              "negative, all finite",
                              "rig: coil %s has a value that no coil has", coil->name);
    const int k = model->n_coils++;
    memcpy(model->names[k], coil->name, sizeof model->names[k]);
    for (int r = 0; r < 3; r++)
        model->mT_per_A[r][k] = coil->mT_per_A[r];
    model->resistance_ohm[k] = coil->resistance_ohm;
    model->inductance_H[k][k] = coil->inductance_mH * 1e-3;
    model->allowed[NRW_RIG_PEAK_A][k] = coil->current_max_A;
    model->allowed[NRW_RIG_RMS_A][k] = or_none(coil->extras.current_rms_max_A);
    model->allowed[NRW_RIG_PEAK_V][k] = coil->voltage_max_V;
    model->allowed[NRW_RIG_SLEW_A_S][k] = or_none(coil->extras.slew_max_A_s);
    model->thermal_K_W[k] = coil->extras.thermal_resistance_K_W;
    model->thermal_J_K[k] = coil->extras.thermal_capacity_J_K;
    model->temperature_max_C[k] = or_none(coil->extras.temperature_max_C);
    return NRW_OK;
}

/* A vector of the rig's frame in the map's. */
static void turn(const double rig_frame[3], double angle, double map_frame[3])
{
    map_frame[0] = cos(angle) * rig_frame[0] - sin(angle) * rig_frame[1];
    map_frame[1] = sin(angle) * rig_frame[0] + cos(angle) * rig_frame[1];
    map_frame[2] = rig_frame[2];
}

/* The coil of an axis: one that gives field along it alone. */
static nrw_rig_coil coil_of_axis(const nrw_rig *rig, int axis)
{
    static const char names[3][2] = {"x", "y", "z"};
    const nrw_rig_axis *from = &rig->axes[axis];
    nrw_rig_coil coil;
    memset(&coil, 0, sizeof coil);
    memcpy(coil.name, names[axis], sizeof names[axis]);
    coil.mT_per_A[axis] = from->mT_per_A;
    coil.resistance_ohm = from->resistance_ohm;
    coil.inductance_mH = from->inductance_mH;
    coil.current_max_A = from->current_max_A;
    coil.voltage_max_V = from->voltage_max_V;
    coil.extras = from->extras;
    return coil;
}

static nrw_status add_coils(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors)
{
    int source[NRW_COILS_MAX]; /* row of the mutual inductances of each coil taken */
    const int n = rig->n_coils > 0 ? (int)rig->n_coils : 3;
    for (int i = 0; i < n; i++) {
        if (rig->n_coils == 0 && !rig->axes[i].present)
            continue;
        nrw_rig_coil coil = rig->n_coils > 0 ? rig->coils[i] : coil_of_axis(rig, i);
        double in_map[3];
        turn(coil.mT_per_A, rig->rotation_deg * NRW_DEGREE, in_map);
        memcpy(coil.mT_per_A, in_map, sizeof in_map);
        source[model->n_coils] = i;
        const nrw_status status = add_coil(model, &coil, errors);
        if (status != NRW_OK)
            return status;
    }
    for (int k = 0; k < model->n_coils; k++)
        for (int l = 0; l < model->n_coils; l++)
            if (k != l)
                model->inductance_H[k][l] = rig->mutual_mH[source[k]][source[l]] * 1e-3;
    return NRW_OK;
}

/* Moore-Penrose inverse by singular values: A = V S U^T from the thin
 * decomposition of A^T = U S V^T (Golub and Van Loan, Matrix Computations,
 * section 5.5). With fewer than three coils the zero rows change nothing. */
static void invert(nrw_rig_model *model)
{
    const int n = model->n_coils;
    const size_t rows = (size_t)(n < 3 ? 3 : n);
    double u_data[NRW_COILS_MAX * 3] = {0}, v_data[9], s_data[3], work_data[3];
    for (int k = 0; k < n; k++)
        for (int r = 0; r < 3; r++)
            u_data[3 * k + r] = model->mT_per_A[r][k];
    gsl_matrix_view u = gsl_matrix_view_array(u_data, rows, 3);
    gsl_matrix_view v = gsl_matrix_view_array(v_data, 3, 3);
    gsl_vector_view s = gsl_vector_view_array(s_data, 3);
    gsl_vector_view work = gsl_vector_view_array(work_data, 3);
    (void)gsl_linalg_SV_decomp(&u.matrix, &v.matrix, &s.vector, &work.vector);

    memset(model->A_per_mT, 0, sizeof model->A_per_mT);
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            model->missing[r][c] = r == c ? 1.0 : 0.0;
    for (int j = 0; j < 3; j++) {
        if (!(s_data[j] > RANK_TOLERANCE * s_data[0]))
            continue;
        for (int k = 0; k < n; k++)
            for (int c = 0; c < 3; c++)
                model->A_per_mT[k][c] += u_data[3 * k + j] * v_data[3 * c + j] / s_data[j];
        for (int r = 0; r < 3; r++)
            for (int c = 0; c < 3; c++)
                model->missing[r][c] -= v_data[3 * r + j] * v_data[3 * c + j];
    }
}

static double coil_current_A(const nrw_rig_model *model, int k, const double field_mT[3])
{
    return model->A_per_mT[k][0] * field_mT[0] + model->A_per_mT[k][1] * field_mT[1] +
           model->A_per_mT[k][2] * field_mT[2];
}

nrw_status nrw_rig_model_init(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors)
{
    memset(model, 0, sizeof *model);
    if (!rig->present)
        return NRW_OK;
    model->field_max_mT = rig->field_max_mT;
    model->frequency_max_Hz = rig->frequency_max_Hz;
    model->sample_rate_Hz = rig->sample_rate_Hz;
    model->room_C = rig->room_C > 0.0 ? rig->room_C : 20.0;
    if (!isfinite(rig->rotation_deg) || rig->n_coils > NRW_COILS_MAX)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "a finite angle and a possible number",
                              "rig: rotation_deg or the number of coils");
    const nrw_status status = add_coils(model, rig, errors);
    if (status != NRW_OK)
        return status;
    if (model->n_coils == 0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at least one coil", "rig: no coil at all");
    invert(model);
    double cancel_mT[3];
    for (int r = 0; r < 3; r++) {
        model->ambient_mT[r] = rig->ambient_uT[r] * 1e-3;
        cancel_mT[r] = -model->ambient_mT[r];
    }
    for (int k = 0; k < model->n_coils; k++)
        model->offset_A[k] = coil_current_A(model, k, cancel_mT);
    model->present = true;
    return NRW_OK;
}

nrw_status nrw_rig_model_of_matrix(nrw_rig_model *model, int n, const double *mT_per_A,
                                   nrw_errors *errors)
{
    nrw_rig rig;
    memset(&rig, 0, sizeof rig);
    memset(model, 0, sizeof *model);
    if (n < 1 || n > NRW_COILS_MAX)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "1 to 16 coils", "calibration: %d coils", n);
    rig.present = true;
    rig.field_max_mT = rig.frequency_max_Hz = rig.sample_rate_Hz = INFINITY;
    rig.n_coils = (size_t)n;
    for (int k = 0; k < n; k++) {
        (void)snprintf(rig.coils[k].name, sizeof rig.coils[k].name, "%d", k + 1);
        for (int r = 0; r < 3; r++)
            rig.coils[k].mT_per_A[r] = mT_per_A[r * n + k];
        rig.coils[k].current_max_A = rig.coils[k].voltage_max_V = INFINITY;
    }
    return nrw_rig_model_init(model, &rig, errors);
}

void nrw_rig_currents_A(const nrw_rig_model *model, const double field_mT[3], double *currents_A)
{
    for (int k = 0; k < model->n_coils; k++)
        currents_A[k] = model->offset_A[k] + coil_current_A(model, k, field_mT);
}

void nrw_rig_field_mT(const nrw_rig_model *model, const double *currents_A, double field_mT[3])
{
    for (int r = 0; r < 3; r++) {
        field_mT[r] = model->ambient_mT[r];
        for (int k = 0; k < model->n_coils; k++)
            field_mT[r] += model->mT_per_A[r][k] * currents_A[k];
    }
}

void nrw_rig_voltages_V(const nrw_rig_model *model, const double *currents_A,
                        const double *rates_A_s, double *voltages_V)
{
    for (int k = 0; k < model->n_coils; k++) {
        voltages_V[k] = model->resistance_ohm[k] * currents_A[k];
        for (int l = 0; l < model->n_coils; l++)
            voltages_V[k] += model->inductance_H[k][l] * rates_A_s[l];
    }
}

double nrw_rig_impedance_ohm(double resistance_ohm, double inductance_H, double frequency_Hz)
{
    return hypot(resistance_ohm, 2.0 * NRW_PI * frequency_Hz * inductance_H);
}

double nrw_rig_lag_deg(double resistance_ohm, double inductance_H, double frequency_Hz)
{
    return atan2(2.0 * NRW_PI * frequency_Hz * inductance_H, resistance_ohm) / NRW_DEGREE;
}

double nrw_rig_heat_W(double resistance_ohm, double rms_A)
{
    return resistance_ohm * rms_A * rms_A;
}

double nrw_rig_ramp_s(const nrw_rig *rig, nrw_vec3 from_mT, nrw_vec3 to_mT)
{
    nrw_rig_model model;
    if (nrw_rig_model_init(&model, rig, NULL) != NRW_OK || !model.present)
        return 0.0;
    double from[NRW_COILS_MAX], to[NRW_COILS_MAX];
    nrw_rig_currents_A(&model, (const double[3]){from_mT.x, from_mT.y, from_mT.z}, from);
    nrw_rig_currents_A(&model, (const double[3]){to_mT.x, to_mT.y, to_mT.z}, to);
    double ramp_s = 0.0;
    for (int k = 0; k < model.n_coils; k++) {
        double flux_V_s = 0.0;
        for (int l = 0; l < model.n_coils; l++)
            flux_V_s += model.inductance_H[k][l] * (to[l] - from[l]);
        const double held_V = model.resistance_ohm[k] * fmax(fabs(from[k]), fabs(to[k]));
        const double spare_V = model.allowed[NRW_RIG_PEAK_V][k] - held_V;
        ramp_s = fmax(ramp_s, fabs(to[k] - from[k]) / model.allowed[NRW_RIG_SLEW_A_S][k]);
        if (flux_V_s == 0.0)
            continue;
        if (spare_V <= 0.0)
            return INFINITY;
        ramp_s = fmax(ramp_s, fabs(flux_V_s) / spare_V);
    }
    return ramp_s;
}

const char *nrw_rig_binding_name(const nrw_rig_binding *binding)
{
    static const char *const quantities[NRW_RIG_N_QUANTITIES] = {"current", "rms current",
                                                                 "voltage", "slew"};
    switch (binding->limit) {
    case NRW_RIG_NOTHING:
        return "nothing";
    case NRW_RIG_FIELD:
        return "field";
    case NRW_RIG_FREQUENCY:
        return "frequency";
    case NRW_RIG_AXIS:
        return "axis";
    case NRW_RIG_COIL:
        return quantities[binding->quantity];
    }
    return "unknown";
}

const char *nrw_rig_quantity_unit(nrw_rig_quantity quantity)
{
    static const char *const units[NRW_RIG_N_QUANTITIES] = {"A", "A", "V", "A/s"};
    return units[quantity];
}
