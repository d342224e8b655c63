/* Readers of pictures: every kind that is read gives the same pixels. */
#include <criterion/criterion.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

#include "mask_picture.h"

/* Three wide, two high; the top row is written first in files and comes last here. */
static const unsigned char TOP[3] = {0, 128, 255}, BOTTOM[3] = {255, 64, 0};

static void assert_levels(const void *bytes, size_t size, const char *kind)
{
    nrw_picture picture;
    char fault[256] = "";
    cr_assert_eq(nrw_picture_parse(bytes, size, &picture, fault, sizeof fault), NRW_OK, "%s: %s",
                 kind, fault);
    cr_assert_eq(picture.width, 3);
    cr_assert_eq(picture.height, 2);
    for (int i = 0; i < 3; i++) {
        cr_assert_eq(picture.grey[i], 257 * BOTTOM[i], "%s: pixel %d is %d", kind, i,
                     picture.grey[i]);
        cr_assert_eq(picture.grey[3 + i], 257 * TOP[i], "%s: pixel %d is %d", kind, 3 + i,
                     picture.grey[3 + i]);
    }
    nrw_picture_clear(&picture);
}

Test(mask_picture, pgm_plain_and_raw)
{
    static const char plain[] = "P2\n# made by hand\n3 2 # size\n255\n0 128 255\n255 64 0\n";
    static const char raw[] = "P5 3 2 255\n\x00\x80\xff\xff\x40\x00";
    static const char deep[] = "P5 3 2 65535\n\x00\x00\x80\x80\xff\xff\xff\xff\x40\x40\x00\x00";
    assert_levels(plain, sizeof plain - 1, "plain");
    assert_levels(raw, sizeof raw - 1, "raw");
    assert_levels(deep, sizeof deep - 1, "16 bits");
}

/* Writes rows of `channels` bytes a pixel as a PNG; the caller frees it. */
static void *png_of(const unsigned char *pixels, png_uint_32 format, size_t *size)
{
    png_image image;
    memset(&image, 0, sizeof image);
    image.version = PNG_IMAGE_VERSION;
    image.width = 3;
    image.height = 2;
    image.format = format;
    png_alloc_size_t bytes = 0;
    cr_assert(png_image_write_to_memory(&image, NULL, &bytes, 0, pixels, 0, NULL));
    void *file = malloc(bytes);
    cr_assert(png_image_write_to_memory(&image, file, &bytes, 0, pixels, 0, NULL));
    *size = bytes;
    return file;
}

Test(mask_picture, png_grey_colour_and_transparent)
{
    unsigned char grey[6], rgb[18], rgba[24];
    for (int i = 0; i < 6; i++) {
        grey[i] = i < 3 ? TOP[i] : BOTTOM[i - 3];
        memset(rgb + 3 * i, grey[i], 3);
        memset(rgba + 4 * i, grey[i], 3);
        rgba[4 * i + 3] = 255;
        if (grey[i] == 0) { /* white, but transparent: as black */
            memset(rgba + 4 * i, 255, 3);
            rgba[4 * i + 3] = 0;
        }
    }
    size_t size;
    void *file = png_of(grey, PNG_FORMAT_GRAY, &size);
    assert_levels(file, size, "grey");
    free(file);
    file = png_of(rgb, PNG_FORMAT_RGB, &size);
    assert_levels(file, size, "colour");
    free(file);
    file = png_of(rgba, PNG_FORMAT_RGBA, &size);
    assert_levels(file, size, "transparent");
    free(file);
}

Test(mask_picture, a_cut_file_is_refused_wherever_it_is_cut)
{
    unsigned char grey[6] = {0, 128, 255, 255, 64, 0};
    size_t size;
    unsigned char *file = png_of(grey, PNG_FORMAT_GRAY, &size);
    for (size_t n = 0; n + 16 < size; n++) { /* the last chunk holds no pixels */
        nrw_picture picture;
        char fault[256] = "";
        unsigned char *cut = malloc(n + 1); /* of its own: reading past it is found */
        memcpy(cut, file, n);
        nrw_status status = nrw_picture_parse(cut, n, &picture, fault, sizeof fault);
        cr_assert_eq(status, NRW_BAD_INPUT, "cut to %zu of %zu", n, size);
        cr_assert_neq(fault[0], '\0');
        cr_assert_null(picture.grey);
        free(cut);
    }
    free(file);
}
