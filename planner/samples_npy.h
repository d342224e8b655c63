/* Currents of an export, read back as the field that they give. */
#ifndef NRW_SAMPLES_NPY_H
#define NRW_SAMPLES_NPY_H

#include "rig.h"
#include "samples.h"

/* Reads a .npy file (NumPy documentation, "numpy.lib.format") of float32 or float64,
 * samples × coils in A, such as currents.npy; the rig makes the field of them. `file` is
 * the name that is kept for writing. sample_rate_Hz 0: that of waveform.json beside the
 * file. The caller destroys *samples. NRW_BAD_INPUT: `fault` says what is wrong;
 * NRW_NO_MEMORY. */
nrw_status nrw_samples_read_npy(const char *file, const char *path, double sample_rate_Hz,
                                const nrw_rig *rig, nrw_samples **samples, char *fault,
                                size_t fault_size);

#endif
