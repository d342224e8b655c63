/* Forces and flow of all pairs at a step's beginning: all of them one by one in small
 * swarms, with a far field in large ones. */
#ifndef NRW_PAIR_SUM_H
#define NRW_PAIR_SUM_H

#include "world.h"

/* From so many particles on the far field takes less time than all pairs. */
enum { NRW_PAIR_SUM_FAR_LEAST = 512 };

/* 3·µ0/4π·M for the kernels, without M_zz times the unit tensor, which exerts no force
 * (7.2): the kernels of all pairs and of close neighbours must agree inside the core too,
 * where it would. */
void nrw_pair_tensor(float tensor[NRW_N_TENSOR], nrw_sym3 m);

/* Writes forces (or, for several substeps, responses to each component of the tensor) and
 * pair flow of world->task, by row. world->x, y, z are where the rows stand. */
void nrw_pair_sum(nrw_world *world, const nrw_excitation *excitation);

/* Forces for a tensor from the responses. */
void nrw_pair_sum_phase(nrw_world *world, nrw_sym3 tensor);

#endif
