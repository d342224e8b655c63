#include "sha256.h"

#include <nettle/sha2.h>
#include <stdint.h>

void nrw_sha256_hex(const void *data, size_t size, char hex[65])
{
    static const char digits[] = "0123456789abcdef";
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&context);
    sha256_update(&context, size, data);
    sha256_digest(&context, SHA256_DIGEST_SIZE, digest);
    for (size_t i = 0; i < SHA256_DIGEST_SIZE; i++) {
        hex[2 * i] = digits[digest[i] >> 4];
        hex[2 * i + 1] = digits[digest[i] & 15];
    }
    hex[64] = '\0';
}
