/* Constants of Philox 4x32: shared by random.c and its wide twin. */
#ifndef NRW_PHILOX_H
#define NRW_PHILOX_H

#include <stdint.h>

/* Philox constants: Salmon et al. 2011, section 3.3. */
#define PHILOX_M0 UINT32_C(0xD2511F53)
#define PHILOX_M1 UINT32_C(0xCD9E8D57)
#define PHILOX_W0 UINT32_C(0x9E3779B9)
#define PHILOX_W1 UINT32_C(0xBB67AE85)
enum { PHILOX_ROUNDS = 10 };

#endif
