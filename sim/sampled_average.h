/* How a nominal particle answers a sampled field: averages over windows of time
 * instead of periods (docs/physics.md, section 2). */
#ifndef NRW_SAMPLED_AVERAGE_H
#define NRW_SAMPLED_AVERAGE_H

#include "average.h"
#include "body.h"
#include "samples.h"
#include "world.h"

/* Means over [from_s, to_s] of the samples' time for each of n equal parts: the moment's
 * ⟨m mᵀ⟩ and ⟨m × B⟩ of an induced particle, exact for a field that is straight between
 * samples: the relaxation dF/dt = (B − F)/τ of the field F that the moment follows is
 * integrated in closed form. With saturation by Gauss's rule of two points between
 * samples. Before the window F is followed for 30 relaxation times. averages (n); their
 * `spin` is that of the mean torque. Cost: about 30 ns a sample. */
void nrw_sampled_averages(const nrw_body *body, const nrw_samples *samples, double from_s,
                          double to_s, int n, nrw_average *averages);

/* Moment (fA·m²) of an induced nominal particle at a time. */
nrw_vec3 nrw_sampled_moment(const nrw_body *body, const nrw_samples *samples, double t_s);

/* What the whole of the samples does, for the regime numbers: mean ⟨m mᵀ⟩; `spin` and
 * `torque` are roots of mean squares over windows of a tenth of a second, x: in the plane,
 * z: about z. A permanent moment is taken to follow the field. *rhythm_Hz gets a mean of
 * the windows' rhythms, weighted by the square of the field. At most 256 windows are
 * looked at. */
nrw_average nrw_sampled_typical(const nrw_body *body, const nrw_samples *samples,
                                double *rhythm_Hz);

/* Fills the excitation of a resolved step from t_s of the samples' time; may shorten *h_s
 * so that the field turns little enough in a step or substep. The averages that are held
 * over the step are taken over whole half-cycles where those are not much longer, since
 * what is held must not beat with the step. *spin_axis: the direction about which B
 * turns. */
void nrw_sampled_excite(const nrw_world *world, const nrw_samples *samples, double t_s, double *h_s,
                        nrw_excitation *excitation, nrw_vec3 *spin_axis);

#endif
