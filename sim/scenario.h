/* A scenario: fluid, particles, channel map, job, rig, imaging, uncertainty
 * (contract section 2), as plain data in the units of the file.
 *
 * scenario_file.c is the only reader. A scenario is not changed by running it. */
#ifndef NRW_SCENARIO_H
#define NRW_SCENARIO_H

#include <stdbool.h>
#include <stddef.h>

#include "drive.h"
#include "error.h"

typedef enum nrw_medium { NRW_MEDIUM_WATER, NRW_MEDIUM_CUSTOM } nrw_medium;
typedef enum nrw_moment_kind { NRW_MOMENT_PERMANENT, NRW_MOMENT_INDUCED } nrw_moment_kind;

/* How a material saturates. */
typedef enum nrw_magnetisation_law {
    NRW_LAW_FROHLICH_KENNELLY,
    NRW_LAW_LANGEVIN
} nrw_magnetisation_law;

typedef struct nrw_fluid {
    nrw_medium medium;
    double temperature_C;
    double viscosity_Pa_s; /* resolved: from the temperature for water */
    double density_kg_m3;  /* resolved likewise */
} nrw_fluid;

/* Spheres, or fused doublets (doublet.h) whose permanent moment lies along or across
 * their axis. */
typedef enum nrw_moment_axis { NRW_MOMENT_ALONG, NRW_MOMENT_ACROSS } nrw_moment_axis;
typedef struct nrw_particle_shape {
    bool doublet;
    double aspect;          /* length over width, 1 to 2; spheres: 1 */
    nrw_moment_axis moment; /* of permanent doublets */
} nrw_particle_shape;

typedef struct nrw_particles {
    size_t count;
    double (*positions_um)[3]; /* (count x 3) or NULL; z is NAN where left out; owned */
    double *moments_deg;       /* (count) start headings of permanent moments or NULL; owned */
    double diameter_um;        /* of the sphere of equal volume */
    double diameter_cv;
    nrw_particle_shape shape;
    double density_kg_m3;
    nrw_moment_kind kind;
    double susceptibility;     /* induced: SI, of the material */
    double saturation_kA_m;    /* induced; INFINITY: none */
    nrw_magnetisation_law law; /* induced, with a saturation */
    double relaxation_time_s;  /* induced */
    double remanent_fAm2;      /* induced; part of the moment that is fixed in the particle */
    double moment_fAm2;        /* permanent */
    double moment_cv;          /* permanent */
    double surface_potential_mV, debye_nm, roughness_nm;
    double surface_gap_um; /* given gap; NAN: from the balance of forces */
    double adhesion_rate_per_s, adhesion_release_pN;
} nrw_particles;

typedef struct nrw_node {
    char name[NRW_NAME_SIZE];
    double at_um[2];
    bool is_inlet, is_outlet; /* named by flow */
} nrw_node;

typedef struct nrw_width_point {
    double fraction; /* of the vessel's length, 0...1, not decreasing */
    double width_um;
} nrw_width_point;

typedef struct nrw_vessel {
    int from, to;        /* node indices */
    double (*via_um)[2]; /* (n_via x 2) interior points of its centreline; owned; may be NULL */
    size_t n_via;
    nrw_width_point *widths; /* (n_widths >= 1), linear in between; owned */
    size_t n_widths;
} nrw_vessel;

typedef struct nrw_map {
    bool open;       /* no side walls */
    bool has_floor;  /* false: unbounded fluid */
    double depth_um; /* height of the ceiling; INFINITY: none */
    nrw_node *nodes; /* (n_nodes), owned */
    size_t n_nodes;
    nrw_vessel *vessels; /* (n_vessels), owned */
    size_t n_vessels;
    struct nrw_mask *mask; /* the picture whose outline the walls are (mask.h), owned; its
                              nodes and vessels stand above; NULL: walls from the vessels */
} nrw_map;

/* An end of a vessel through which fluid enters or leaves: by a given rate or at a
 * given pressure, with a sinusoidal part on top. */
typedef struct nrw_flow_port {
    int node;
    bool is_outlet;
    bool by_pressure;
    double rate_nl_min; /* into the map at inlets, out of it at outlets */
    double pressure_Pa;
    double amplitude; /* of the sinusoidal part, nl/min or Pa; 0: steady */
    double frequency_Hz, phase_deg;
    double tube_radius_um, tube_length_mm; /* tubing before a given pressure; 0: none */
} nrw_flow_port;

typedef struct nrw_flow_options {
    nrw_flow_port *ports; /* (n_ports), owned; none: fluid at rest */
    size_t n_ports;
} nrw_flow_options;

/* A place: a node, or a point of its own (node = -1). */
typedef struct nrw_place {
    int node;
    double at_um[2]; /* always resolved */
    double radius_um;
} nrw_place;

typedef struct nrw_goal {
    double fraction_min; /* 0.3 */
    double hold_s;       /* 0 */
    bool keep_visible;
    /* no_go: discs that the swarm must keep out of */
    nrw_place *no_go; /* (n_no_go), owned */
    size_t n_no_go;
} nrw_goal;

/* What else may be known of a coil and its amplifier; 0 everywhere: nothing. */
typedef struct nrw_rig_coil_extras {
    double current_rms_max_A;      /* continuous; 0: no limit */
    double slew_max_A_s;           /* of the amplifier; 0: no limit but the voltage */
    double thermal_resistance_K_W; /* winding to room; 0: heating is not followed */
    double thermal_capacity_J_K;   /* of the winding; 0: at once warm */
    double temperature_max_C;      /* 0: no limit */
    double pair_radius_mm, pair_spacing_mm, pair_turns; /* geometry; radius 0: not given */
} nrw_rig_coil_extras;

typedef struct nrw_rig_axis {
    bool present;
    double mT_per_A, resistance_ohm, inductance_mH, current_max_A, voltage_max_V;
    nrw_rig_coil_extras extras;
} nrw_rig_axis;

#define NRW_RIG_COILS_MAX 16
#define NRW_RIG_GAINS_MAX 64

/* One coil of a rig that is not three axes. */
typedef struct nrw_rig_coil {
    char name[NRW_NAME_SIZE];
    double mT_per_A[3]; /* in the rig's frame: x, y, z */
    double resistance_ohm, inductance_mH, current_max_A, voltage_max_V;
    nrw_rig_coil_extras extras;
} nrw_rig_coil;

/* How an amplifier answers at one frequency: amperes out per ampere asked for,
 * and the phase by which they lead (negative: lag). */
typedef struct nrw_rig_gain {
    double frequency_Hz, gain, phase_deg;
} nrw_rig_gain;

typedef struct nrw_rig {
    bool present; /* false: nothing is known, no limit applies */
    double field_max_mT, frequency_max_Hz, sample_rate_Hz, rotation_deg;
    nrw_rig_axis axes[3];                  /* x, y, z */
    nrw_rig_coil coils[NRW_RIG_COILS_MAX]; /* (n_coils) used instead of axes if n_coils > 0 */
    size_t n_coils;
    double mutual_mH[NRW_RIG_COILS_MAX][NRW_RIG_COILS_MAX]; /* symmetric, diagonal unused; by
                                                               coil, or by axis x, y, z */
    nrw_rig_gain gains[NRW_RIG_GAINS_MAX]; /* (n_gains) by rising frequency; none: ideal */
    size_t n_gains;
    double ambient_uT[3]; /* steady field of the surroundings in the map's frame, cancelled
                             by the coils; 0, 0, 0: not known */
    double room_C;        /* 0: 20 */
} nrw_rig;

typedef struct nrw_imaging {
    double frame_rate_Hz;        /* 10 */
    double pixel_um;             /* 0: exact */
    double centroid_noise_um;    /* 0 */
    double smallest_visible_um2; /* 0: always visible */
} nrw_imaging;

typedef struct nrw_uncertainty {
    double moment_cv, viscosity_cv, rolling_cv, pair_flow_cv;
} nrw_uncertainty;

/* Switches and factors of the model; the defaults are the contract's and, for
 * contact_brake_factor, docs/physics.md section 5. */
typedef struct nrw_model_options {
    bool brownian, gravity, pair_flow, mutual_induction;
    bool wall_drag;      /* false; true: side walls add to particles' drag (wall_drag.h) */
    bool wall_screening; /* true: side walls slow the pair flow (screen.h) */
    double rolling_factor, pair_flow_factor;
    double contact_brake_factor;    /* 1; scales the braking of touching co-rotating particles */
    bool contact_sliding;           /* true: they also resist sliding along each other */
    double contact_stiffness_pN_um; /* 150; contact spring (docs/physics.md section 6) */
} nrw_model_options;

/* One varied key of a sweep, e.g. "tilt_deg" with its values. */
typedef struct nrw_sweep_key {
    char key[NRW_NAME_SIZE];
    double *values; /* (n_values), owned */
    size_t n_values;
} nrw_sweep_key;

typedef struct nrw_sweep {
    bool present;
    nrw_drive drive;
    nrw_sweep_key *keys; /* (n_keys), owned */
    size_t n_keys;
    double seconds;
    int repeats;
} nrw_sweep;

typedef struct nrw_scenario {
    char *title; /* owned */
    char *path;  /* as given; owned */
    char *text;  /* the file's bytes, for the copy in the results folder; owned */
    size_t text_size;
    char sha256[65]; /* of the bytes, hexadecimal */

    nrw_fluid fluid;
    nrw_particles particles;
    nrw_map map;
    nrw_flow_options flow;
    bool has_release; /* false only when positions_um is given */
    nrw_place release, target;
    int *route_nodes; /* (n_route_nodes) or NULL: shortest way; owned */
    size_t n_route_nodes;
    double deadline_s;
    nrw_goal goal;
    nrw_rig rig;
    char *calibration_path; /* where the rig's table of calibration was read, NULL: there is */
    char *calibration;      /* none; and its bytes; both owned */
    size_t calibration_size;
    char calibration_sha256[65];
    nrw_imaging imaging;
    nrw_uncertainty uncertainty;
    nrw_model_options model;
    nrw_sweep sweep;
} nrw_scenario;

/* Reads and validates a scenario file. All errors of the file are appended to
 * `errors` as NRW_BAD_INPUT with their places, and NULL is left in *scenario.
 * The caller destroys what it gets. */
nrw_status nrw_scenario_load(const char *path, nrw_scenario **scenario, nrw_errors *errors);

/* The same from memory; `name` stands for the file in messages. */
nrw_status nrw_scenario_parse(const char *text, size_t size, const char *name,
                              nrw_scenario **scenario, nrw_errors *errors);

void nrw_scenario_destroy(nrw_scenario *scenario);

/* Index of a node by name, -1 if there is none. */
int nrw_scenario_node(const nrw_scenario *scenario, const char *name);

/* A file that a scenario names and that goes with it into the results folder: the
 * picture of its map, the table of its rig's calibration. */
typedef struct nrw_scenario_companion {
    const char *name; /* of the file, without folders; borrowed, as all here */
    const void *bytes;
    size_t n_bytes;
    const char *sha256; /* of the bytes, hexadecimal */
} nrw_scenario_companion;

enum { NRW_COMPANIONS_MAX = 2 };

/* Fills companions with those that there are, returns how many. */
size_t nrw_scenario_companions(const nrw_scenario *scenario,
                               nrw_scenario_companion companions[NRW_COMPANIONS_MAX]);

/* One layer at area fraction 0.80: d·sqrt(N/0.80) (contract section 4). */
double nrw_scenario_gathered_diameter_um(const nrw_scenario *scenario);

#endif
