/* Sampled copies of drives, for tests. */
#ifndef TESTS_SAMPLED_SETUP_H
#define TESTS_SAMPLED_SETUP_H

#include "drive.h"
#include "samples.h"

/* n samples of a field from phase 0 on. The caller destroys them. */
nrw_samples *sampled_copy(const nrw_field *field, double rate_Hz, size_t n);

#endif
