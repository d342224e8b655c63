/* Scenarios of a few particles, and a world of them to step by hand. */
#ifndef TESTS_SMALL_SETUP_H
#define TESTS_SMALL_SETUP_H

#include "average.h"
#include "channel.h"
#include "scenario.h"
#include "world.h"

typedef struct small_setup {
    nrw_scenario *scenario; /* change its fields before the world is made */
    nrw_channel *channel;
} small_setup;

/* From the text of a scenario file; the test fails when it is not accepted. */
small_setup small_setup_of(const char *yaml);

/* The reference particle (3 µm, susceptibility 0.30, lag 1.03e-5 s, 1800 kg/m³ in
 * water at 25 °C) in an open map with a floor; without noise and pair flow, which
 * a test switches on as it needs them. n particles at at_um (n x 3; z NAN: at
 * rest), or one at the origin for NULL. */
small_setup small_setup_open(size_t n, const double (*at_um)[3]);

/* The same with n particles nearly touching on a jittered triangular lattice of so many columns,
 * at rest, in no order: n and the stride share no divisor. */
small_setup small_setup_lattice(size_t n, size_t columns, size_t stride);

/* Makes the particles permanent dipoles with start headings (n) in degrees. */
void small_setup_permanent(small_setup *setup, double moment_fAm2, const double *moments_deg);

void small_setup_clear(small_setup *setup);

/* Nominal factors, seed 1 or another. The caller destroys it. */
nrw_world *small_world(const small_setup *setup, bool own_moments);
nrw_world *small_world_of_seed(const small_setup *setup, bool own_moments, uint64_t seed);

/* What a field does to induced particles in the averaged model, or the field
 * itself for permanent ones. */
nrw_excitation small_excitation(const nrw_world *world, const nrw_field *field);

/* Steps of h_s (shorter where the error rule asks for it) for a time; the test
 * fails when one does. */
void small_advance(nrw_world *world, const nrw_excitation *excitation, double seconds, double h_s);

/* The rotating field of the contract. */
nrw_field small_rotating(double field_mT, double frequency_Hz, double tilt_deg);

#endif
