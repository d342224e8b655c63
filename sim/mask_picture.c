#include "mask_picture.h"

#include <png.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void nrw_picture_clear(nrw_picture *picture)
{
    free(picture->grey);
    memset(picture, 0, sizeof *picture);
}

static nrw_status fail(char *fault, size_t size, const char *what)
{
    (void)snprintf(fault, size, "%s", what);
    return NRW_BAD_INPUT;
}

static nrw_status allocate(nrw_picture *picture, unsigned long width, unsigned long height,
                           char *fault, size_t size)
{
    if (width == 0 || height == 0)
        return fail(fault, size, "has no pixels");
    if (width > NRW_PICTURE_SIDE_MAX || height > NRW_PICTURE_SIDE_MAX ||
        width * height > NRW_PICTURE_PIXELS_MAX) {
        (void)snprintf(fault, size, "has %lu x %lu pixels, more than %d along a side or %d in all",
                       width, height, NRW_PICTURE_SIDE_MAX, NRW_PICTURE_PIXELS_MAX);
        return NRW_BAD_INPUT;
    }
    picture->width = (int)width;
    picture->height = (int)height;
    picture->grey = malloc(width * height * sizeof *picture->grey);
    return picture->grey ? NRW_OK : NRW_NO_MEMORY;
}

static uint16_t *row_of(nrw_picture *picture, int from_top)
{
    size_t row = (size_t)(picture->height - 1 - from_top);
    return picture->grey + row * (size_t)picture->width;
}

/* --- PGM ------------------------------------------------------------------------- */

typedef struct scanner {
    const unsigned char *at, *end;
} scanner;

static bool is_space(unsigned char c)
{
    return c == ' ' || (c >= '\t' && c <= '\r');
}

/* Next number of up to 9 digits after space and comments; false when there is none. */
static bool take_number(scanner *s, unsigned long *value)
{
    while (s->at < s->end && (is_space(*s->at) || *s->at == '#')) {
        if (*s->at == '#')
            while (s->at < s->end && *s->at != '\n' && *s->at != '\r')
                s->at++;
        else
            s->at++;
    }
    int digits = 0;
    *value = 0;
    for (; s->at < s->end && *s->at >= '0' && *s->at <= '9' && digits < 10; digits++)
        *value = 10 * *value + (unsigned long)(*s->at++ - '0');
    return digits > 0 && digits < 10;
}

static uint16_t scaled(unsigned long level, unsigned long white)
{
    return (uint16_t)((level * 65535 + white / 2) / white);
}

static nrw_status read_plain(scanner *s, unsigned long white, nrw_picture *picture, char *fault,
                             size_t size)
{
    for (int j = 0; j < picture->height; j++) {
        uint16_t *row = row_of(picture, j);
        for (int i = 0; i < picture->width; i++) {
            unsigned long level;
            if (!take_number(s, &level))
                return fail(fault, size, "ends before its last pixel");
            if (level > white)
                return fail(fault, size, "has a pixel brighter than its white");
            row[i] = scaled(level, white);
        }
    }
    return NRW_OK;
}

static nrw_status read_raw(const scanner *s, unsigned long white, nrw_picture *picture, char *fault,
                           size_t size)
{
    size_t bytes = white > 255 ? 2 : 1;
    size_t wanted = bytes * (size_t)picture->width * (size_t)picture->height;
    if ((size_t)(s->end - s->at) < wanted)
        return fail(fault, size, "ends before its last pixel");
    const unsigned char *at = s->at;
    for (int j = 0; j < picture->height; j++) {
        uint16_t *row = row_of(picture, j);
        for (int i = 0; i < picture->width; i++, at += bytes) {
            unsigned long level = bytes == 2 ? 256UL * at[0] + at[1] : at[0];
            if (level > white)
                return fail(fault, size, "has a pixel brighter than its white");
            row[i] = scaled(level, white);
        }
    }
    return NRW_OK;
}

static nrw_status read_pgm(scanner s, bool raw, nrw_picture *picture, char *fault, size_t size)
{
    unsigned long width, height, white;
    if (!take_number(&s, &width) || !take_number(&s, &height) || !take_number(&s, &white))
        return fail(fault, size, "is a PGM picture without width, height and white");
    if (white == 0 || white > 65535)
        return fail(fault, size, "is a PGM picture whose white is not in 1...65535");
    if (raw && (s.at >= s.end || !is_space(*s.at++)))
        return fail(fault, size, "is a PGM picture without pixels");
    nrw_status status = allocate(picture, width, height, fault, size);
    if (status != NRW_OK)
        return status;
    return raw ? read_raw(&s, white, picture, fault, size)
               : read_plain(&s, white, picture, fault, size);
}

/* --- PNG ------------------------------------------------------------------------- */

/* By libpng's simplified interface, which reports its errors instead of jumping.
 * Grey levels as stored (8 bits); 16-bit files are taken as linear by default. */
static nrw_status read_png(const void *bytes, size_t n_bytes, nrw_picture *picture, char *fault,
                           size_t size)
{
    static const png_color black = {0, 0, 0};
    png_image image;
    memset(&image, 0, sizeof image);
    image.version = PNG_IMAGE_VERSION;
    if (!png_image_begin_read_from_memory(&image, bytes, n_bytes)) {
        (void)snprintf(fault, size, "is no good PNG picture: %s", image.message);
        return NRW_BAD_INPUT;
    }
    image.format = PNG_FORMAT_GRAY;
    image.flags |= PNG_IMAGE_FLAG_16BIT_sRGB;
    nrw_status status = allocate(picture, image.width, image.height, fault, size);
    unsigned char *levels = status == NRW_OK ? malloc(PNG_IMAGE_SIZE(image)) : NULL;
    if (status == NRW_OK && !levels)
        status = NRW_NO_MEMORY;
    if (status == NRW_OK && !png_image_finish_read(&image, &black, levels, 0, NULL)) {
        (void)snprintf(fault, size, "is no good PNG picture: %s", image.message);
        status = NRW_BAD_INPUT;
    }
    png_image_free(&image);
    for (int j = 0; j < picture->height && status == NRW_OK; j++) {
        uint16_t *row = row_of(picture, j);
        for (int i = 0; i < picture->width; i++)
            row[i] = scaled(levels[(size_t)j * (size_t)picture->width + (size_t)i], 255);
    }
    free(levels);
    return status;
}

nrw_status nrw_picture_parse(const void *bytes, size_t n_bytes, nrw_picture *picture, char *fault,
                             size_t size)
{
    static const unsigned char png[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    const unsigned char *at = bytes;
    memset(picture, 0, sizeof *picture);
    nrw_status status;
    if (n_bytes >= sizeof png && memcmp(at, png, sizeof png) == 0)
        status = read_png(bytes, n_bytes, picture, fault, size);
    else if (n_bytes >= 3 && at[0] == 'P' && (at[1] == '2' || at[1] == '5'))
        status = read_pgm((scanner){at + 2, at + n_bytes}, at[1] == '5', picture, fault, size);
    else
        status = fail(fault, size, "is neither a PGM nor a PNG picture");
    if (status != NRW_OK)
        nrw_picture_clear(picture);
    return status;
}
