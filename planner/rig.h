/* The rig: coils and amplifiers, what field they give, and where they stop.
 *
 * A field is asked for in the map's frame; currents follow from a calibration
 * matrix by the least-norm solution (docs/export.md, section 2). Limits are of
 * the rig as a whole (field, frequency) and of each coil (current, voltage with
 * its inductive part). Where the scenario has no rig, no limit applies. */
#ifndef NRW_RIG_H
#define NRW_RIG_H

#include <stdbool.h>
#include <stddef.h>

#include "drive.h"
#include "error.h"
#include "scenario.h"
#include "schedule.h"

#define NRW_COILS_MAX 16

/* A rig made ready for use: the matrix in the map's frame, and its inverse.
 * Plain data, no memory of its own; constant after nrw_rig_model_init, so that
 * any number of threads may use it. */
typedef struct nrw_rig_model {
    bool present;
    int n_coils;
    char names[NRW_COILS_MAX][24];     /* "x", "y", "z", or the coils' own */
    double mT_per_A[3][NRW_COILS_MAX]; /* (3 x n_coils) map frame */
    double A_per_mT[NRW_COILS_MAX][3]; /* (n_coils x 3) least-norm inverse */
    double missing[3][3];              /* part of a field that no current gives */
    double resistance_ohm[NRW_COILS_MAX];
    double inductance_H[NRW_COILS_MAX][NRW_COILS_MAX]; /* self on the diagonal, mutual beside it */
    double current_max_A[NRW_COILS_MAX], voltage_max_V[NRW_COILS_MAX];
    double field_max_mT, frequency_max_Hz, sample_rate_Hz;
} nrw_rig_model;

typedef enum nrw_rig_limit {
    NRW_RIG_NOTHING,   /* no limit met: no rig, or a drive without field */
    NRW_RIG_FIELD,     /* the rig's field_max_mT */
    NRW_RIG_FREQUENCY, /* the rig's frequency_max_Hz */
    NRW_RIG_AXIS,      /* no coil gives this direction of the field */
    NRW_RIG_CURRENT,   /* a coil's current_max_A */
    NRW_RIG_VOLTAGE    /* a coil's voltage_max_V: |I|·|Z(f)| and what the wobble adds */
} nrw_rig_limit;

/* The limit that a setting comes nearest to (or exceeds most). */
typedef struct nrw_rig_binding {
    nrw_rig_limit limit;
    int coil;     /* of a current or voltage; -1 otherwise */
    double value; /* mT, Hz, A or V, in the unit of the limit; AXIS: the missing mT */
    double allowed;
    double heading_deg; /* where it is worst */
} nrw_rig_binding;

/* Largest demands of one setting over its period, headings, wobble and, with
 * `ease_um`, tilts. */
typedef struct nrw_rig_demand {
    double peak_field_mT;
    double missing_mT;               /* largest part that no coil can give */
    double current_A[NRW_COILS_MAX]; /* peak, (n_coils) */
    double voltage_V[NRW_COILS_MAX]; /* peak, (n_coils) */
    double current_heading_deg[NRW_COILS_MAX], voltage_heading_deg[NRW_COILS_MAX];
} nrw_rig_demand;

/* Prepares a rig. Errors: NRW_BAD_INPUT for values that are not finite or coils
 * that give no field at all. A rig that is not present gives a model that is
 * not present, without error. */
nrw_status nrw_rig_model_init(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors);

/* Least-norm currents in A (n_coils) for a field in mT, map frame. */
void nrw_rig_currents_A(const nrw_rig_model *model, const double field_mT[3], double *currents_A);

/* Field in mT, map frame, of currents in A (n_coils). */
void nrw_rig_field_mT(const nrw_rig_model *model, const double *currents_A, double field_mT[3]);

/* Voltages in V (n_coils): R I + L dI/dt with mutual inductances. */
void nrw_rig_voltages_V(const nrw_rig_model *model, const double *currents_A,
                        const double *rates_A_s, double *voltages_V);

/* |Z| in ohm and the lag of the current behind the voltage in degrees of a coil
 * alone: sqrt(R² + (2πfL)²), atan(2πfL/R). */
double nrw_rig_impedance_ohm(double resistance_ohm, double inductance_H, double frequency_Hz);
double nrw_rig_lag_deg(double resistance_ohm, double inductance_H, double frequency_Hz);

/* Demands of a setting: any heading where feedback turns it, the fixed heading
 * otherwise; ± wobble always. Peaks to 1e-9 of their value. About 0.1 ms. */
nrw_rig_demand nrw_rig_demand_of(const nrw_rig_model *model, const nrw_drive_setting *setting);

/* The limit nearest to a demand, or most exceeded (value > allowed). */
nrw_rig_binding nrw_rig_binding_of(const nrw_rig_model *model, const nrw_drive_setting *setting,
                                   const nrw_rig_demand *demand);

/* Share of a coil's voltage that the available field leaves for the joins
 * between legs, which need some to change the field at all. */
#define NRW_RIG_JOIN_RESERVE 0.02

/* Largest field_mT that this rig gives in the setting's shape (mode, tilt,
 * frequency, headings, wobble), leaving NRW_RIG_JOIN_RESERVE of the voltage; the
 * setting's own field_mT does not matter, its bias_mT is kept. In mode general:
 * the largest |B| when the three vectors are scaled together. 0 when the
 * frequency or the axis can't be had; INFINITY without a rig or in mode off.
 * `binding` (may be NULL) gets what limits it. Costs about 0.1 ms. */
double nrw_rig_available_field_mT(const nrw_rig *rig, const nrw_drive_setting *setting,
                                  nrw_rig_binding *binding);

/* Largest frequency, at most the rig's, at which the setting's own field can be
 * had; 0 if at none. */
double nrw_rig_available_frequency_Hz(const nrw_rig *rig, const nrw_drive_setting *setting);

/* Checks every drive of a schedule against the scenario's rig. NRW_OK, or
 * NRW_REFUSED with one error for each limit exceeded: which leg, which coil,
 * value, allowed, and what would be enough. */
nrw_status nrw_rig_check_schedule(const nrw_scenario *scenario, const nrw_schedule *schedule,
                                  nrw_errors *errors);

/* Shortest time in s of a straight ramp of the currents between two steady
 * fields within every coil's voltage; 0 without a rig, INFINITY where holding
 * the currents leaves no voltage to change them. */
double nrw_rig_ramp_s(const nrw_rig *rig, nrw_vec3 from_mT, nrw_vec3 to_mT);

/* Short text of a limit: "field", "frequency", "axis", "current", "voltage". */
const char *nrw_rig_limit_name(nrw_rig_limit limit);

#endif
