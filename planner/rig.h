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

#define NRW_COILS_MAX NRW_RIG_COILS_MAX

/* What is asked of one coil and may be limited. */
typedef enum nrw_rig_quantity {
    NRW_RIG_PEAK_A,   /* largest |current| */
    NRW_RIG_RMS_A,    /* root mean square of the current over a period */
    NRW_RIG_PEAK_V,   /* largest |R I + L dI/dt|: |I|·|Z(f)| and what the wobble adds */
    NRW_RIG_SLEW_A_S, /* largest |dI/dt| */
    NRW_RIG_N_QUANTITIES
} nrw_rig_quantity;

/* A rig made ready for use: the matrix in the map's frame, and its inverse.
 * Plain data, no memory of its own; constant after nrw_rig_model_init, so that
 * any number of threads may use it. */
typedef struct nrw_rig_model {
    bool present;
    int n_coils;
    char names[NRW_COILS_MAX][NRW_NAME_SIZE];          /* "x", "y", "z", or the coils' own */
    double mT_per_A[3][NRW_COILS_MAX];                 /* (3 x n_coils) map frame */
    double A_per_mT[NRW_COILS_MAX][3];                 /* (n_coils x 3) least-norm inverse */
    double missing[3][3];                              /* part of a field that no current gives */
    double offset_A[NRW_COILS_MAX];                    /* currents that cancel the ambient field */
    double ambient_mT[3];                              /* map frame */
    double resistance_ohm[NRW_COILS_MAX];              /* at room temperature */
    double inductance_H[NRW_COILS_MAX][NRW_COILS_MAX]; /* self on the diagonal, mutual beside */
    double allowed[NRW_RIG_N_QUANTITIES][NRW_COILS_MAX];           /* INFINITY: no limit */
    double thermal_K_W[NRW_COILS_MAX], thermal_J_K[NRW_COILS_MAX]; /* 0: heating not followed */
    double temperature_max_C[NRW_COILS_MAX];                       /* INFINITY: no limit */
    double room_C;
    double field_max_mT, frequency_max_Hz, sample_rate_Hz;
} nrw_rig_model;

typedef enum nrw_rig_limit {
    NRW_RIG_NOTHING,   /* no limit met: no rig, or a drive without field */
    NRW_RIG_FIELD,     /* the rig's field_max_mT */
    NRW_RIG_FREQUENCY, /* the rig's frequency_max_Hz */
    NRW_RIG_AXIS,      /* no coil gives this direction of the field */
    NRW_RIG_COIL       /* one of the quantities of a coil */
} nrw_rig_limit;

/* The limit that a setting comes nearest to (or exceeds most). */
typedef struct nrw_rig_binding {
    nrw_rig_limit limit;
    nrw_rig_quantity quantity; /* of a coil */
    int coil;                  /* -1 for limits of the whole rig */
    double value;              /* mT, Hz, A, V or A/s; AXIS: the missing mT */
    double allowed;
    double heading_deg; /* where it is worst */
} nrw_rig_binding;

/* Largest demands of one setting over its period, headings, wobble and, with
 * `ease_um`, tilts. */
typedef struct nrw_rig_demand {
    double peak_field_mT;
    double missing_mT;                                   /* largest part that no coil can give */
    double largest[NRW_RIG_N_QUANTITIES][NRW_COILS_MAX]; /* (… x n_coils) */
    double heading_deg[NRW_RIG_N_QUANTITIES][NRW_COILS_MAX];
    double at_s[NRW_RIG_N_QUANTITIES][NRW_COILS_MAX]; /* mode sampled: when, in the samples */
} nrw_rig_demand;

/* Prepares a rig. Errors: NRW_BAD_INPUT for values that are not finite or coils
 * that give no field at all. A rig that is not present gives a model that is
 * not present, without error. */
nrw_status nrw_rig_model_init(nrw_rig_model *model, const nrw_rig *rig, nrw_errors *errors);

/* The same from a bare matrix of mT/A (3 x n, row after row, map frame), without
 * resistance, inductance or limits: for calibrations. Errors as above. */
nrw_status nrw_rig_model_of_matrix(nrw_rig_model *model, int n, const double *mT_per_A,
                                   nrw_errors *errors);

/* Least-norm currents in A (n_coils) for a field in mT, map frame, that of the
 * surroundings included: B = ambient + what the currents give. */
void nrw_rig_currents_A(const nrw_rig_model *model, const double field_mT[3], double *currents_A);

/* Field in mT, map frame, of currents in A (n_coils) and the surroundings. */
void nrw_rig_field_mT(const nrw_rig_model *model, const double *currents_A, double field_mT[3]);

/* Voltages in V (n_coils): R I + L dI/dt with mutual inductances. */
void nrw_rig_voltages_V(const nrw_rig_model *model, const double *currents_A,
                        const double *rates_A_s, double *voltages_V);

/* |Z| in ohm and the lag of the current behind the voltage in degrees of a coil
 * alone: sqrt(R² + (2πfL)²), atan(2πfL/R). */
double nrw_rig_impedance_ohm(double resistance_ohm, double inductance_H, double frequency_Hz);
double nrw_rig_lag_deg(double resistance_ohm, double inductance_H, double frequency_Hz);

/* Heat in W of a resistance at an rms current. */
double nrw_rig_heat_W(double resistance_ohm, double rms_A);

/* Demands of a setting: any heading where feedback turns it, the fixed heading
 * otherwise; ± wobble always. Peaks to 1e-9 of their value. About 0.1 ms. Mode sampled:
 * of the samples and of what is straight between them, rms over all; about 30 ns a sample
 * and coil. */
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
 * the largest |B| when the three vectors are scaled together. Mode sampled has a size of
 * its own: 0. 0, too, when the
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

/* What binds, in a word or two: "field", "frequency", "axis", "current",
 * "rms current", "voltage", "slew"; a static string. */
const char *nrw_rig_binding_name(const nrw_rig_binding *binding);

/* Unit of a quantity: "A", "A", "V", "A/s"; a static string. */
const char *nrw_rig_quantity_unit(nrw_rig_quantity quantity);

#endif
