#include "sha256.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

/* FIPS 180-4's published example messages ("abc", and the empty message). */
Test(sha256, agrees_with_the_published_examples)
{
    char hex[65];
    nrw_sha256_hex("abc", 3, hex);
    cr_assert(eq(str, hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"));
    nrw_sha256_hex("", 0, hex);
    cr_assert(eq(str, hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"));
}
