#include "rig.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <gsl/gsl_linalg.h>

/* Singular values below this share of the largest count as none: a direction
 * that needs a million times the current of another can't be driven. */
#define RANK_TOLERANCE 1e-6

static bool axis_is_usable(const nrw_rig_axis *axis)
{
    return isfinite(axis->mT_per_A) && axis->mT_per_A != 0.0 && axis->resistance_ohm >= 0.0 &&
           axis->inductance_mH >= 0.0 && axis->current_max_A > 0.0 && axis->voltage_max_V > 0.0;
}

static nrw_status add_axes(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors)
{
    static const char *const names[3] = {"x", "y", "z"};
    const double angle = rig->rotation_deg * NRW_DEGREE;
    /* Columns: the coils' axes in the map's frame. */
    const double axes[3][3] = {
        {cos(angle), sin(angle), 0.0}, {-sin(angle), cos(angle), 0.0}, {0.0, 0.0, 1.0}};
    for (int i = 0; i < 3; i++) {
        const nrw_rig_axis *axis = &rig->axes[i];
        if (!axis->present)
            continue;
        if (!axis_is_usable(axis))
            return nrw_errors_add(errors, NRW_BAD_INPUT,
                                  "mT_per_A not 0, limits above 0, resistance and inductance "
                                  "not negative, all finite",
                                  "rig: axis %s has a value that no coil has", names[i]);
        const int k = model->n_coils++;
        (void)snprintf(model->names[k], sizeof model->names[k], "%s", names[i]);
        for (int r = 0; r < 3; r++)
            model->mT_per_A[r][k] = axes[i][r] * axis->mT_per_A;
        model->resistance_ohm[k] = axis->resistance_ohm;
        model->inductance_H[k][k] = axis->inductance_mH * 1e-3;
        model->current_max_A[k] = axis->current_max_A;
        model->voltage_max_V[k] = axis->voltage_max_V;
    }
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

nrw_status nrw_rig_model_init(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors)
{
    memset(model, 0, sizeof *model);
    if (!rig->present)
        return NRW_OK;
    model->field_max_mT = rig->field_max_mT;
    model->frequency_max_Hz = rig->frequency_max_Hz;
    model->sample_rate_Hz = rig->sample_rate_Hz;
    if (!isfinite(rig->rotation_deg))
        return nrw_errors_add(errors, NRW_BAD_INPUT, "a finite angle",
                              "rig: rotation_deg is not a number");
    nrw_status status = add_axes(model, rig, errors);
    if (status != NRW_OK)
        return status;
    if (model->n_coils == 0)
        return nrw_errors_add(errors, NRW_BAD_INPUT, "at least one axis", "rig: no coil at all");
    invert(model);
    model->present = true;
    return NRW_OK;
}

void nrw_rig_currents_A(const nrw_rig_model *model, const double field_mT[3], double *currents_A)
{
    for (int k = 0; k < model->n_coils; k++)
        currents_A[k] = model->A_per_mT[k][0] * field_mT[0] + model->A_per_mT[k][1] * field_mT[1] +
                        model->A_per_mT[k][2] * field_mT[2];
}

void nrw_rig_field_mT(const nrw_rig_model *model, const double *currents_A, double field_mT[3])
{
    for (int r = 0; r < 3; r++) {
        field_mT[r] = 0.0;
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
        const double spare_V = model.voltage_max_V[k] - held_V;
        if (flux_V_s == 0.0)
            continue;
        if (spare_V <= 0.0)
            return INFINITY;
        ramp_s = fmax(ramp_s, fabs(flux_V_s) / spare_V);
    }
    return ramp_s;
}

const char *nrw_rig_limit_name(nrw_rig_limit limit)
{
    switch (limit) {
    case NRW_RIG_NOTHING:
        return "nothing";
    case NRW_RIG_FIELD:
        return "field";
    case NRW_RIG_FREQUENCY:
        return "frequency";
    case NRW_RIG_AXIS:
        return "axis";
    case NRW_RIG_CURRENT:
        return "current";
    case NRW_RIG_VOLTAGE:
        return "voltage";
    }
    return "unknown";
}
