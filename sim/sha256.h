/* SHA-256 of a block of bytes, for the provenance of results. */
#ifndef NRW_SHA256_H
#define NRW_SHA256_H

#include <stddef.h>

/* Writes the digest of `size` bytes at `data` as 64 lower-case hexadecimal
 * digits and a terminator. FIPS 180-4, by the nettle library. Thread safe. */
void nrw_sha256_hex(const void *data, size_t size, char hex[65]);

#endif
