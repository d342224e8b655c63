#include "drawn_map.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static nrw_picture blank(int width, int height)
{
    nrw_picture picture = {width, height, calloc((size_t)width * (size_t)height, 2)};
    cr_assert_not_null(picture.grey);
    return picture;
}

nrw_picture drawn_text(const char *const lines[], size_t n_lines)
{
    nrw_picture picture = blank((int)strlen(lines[0]), (int)n_lines);
    for (size_t j = 0; j < n_lines; j++)
        for (size_t i = 0; i < strlen(lines[0]); i++) {
            char c = lines[n_lines - 1 - j][i];
            double level = c == '.' ? 1.0 : c == '#' ? 0.0 : (c - '0') / 10.0;
            picture.grey[j * (size_t)picture.width + i] = (uint16_t)lround(65535 * level);
        }
    return picture;
}

nrw_picture drawn_channel(const nrw_channel *channel, double pixel_um, bool soft,
                          double origin_um[2])
{
    double bounds[4];
    nrw_channel_bounds(channel, bounds);
    int size[2];
    for (int k = 0; k < 2; k++) {
        origin_um[k] = floor(bounds[k] - 5 * pixel_um);
        size[k] = (int)ceil((bounds[k + 2] - origin_um[k]) / pixel_um + 5);
    }
    nrw_picture picture = blank(size[0], size[1]);
    for (int j = 0; j < size[1]; j++)
        for (int i = 0; i < size[0]; i++) {
            double x = origin_um[0] + (i + 0.5) * pixel_um, y = origin_um[1] + (j + 0.5) * pixel_um;
            double share = 0.5 + nrw_channel_distance_exact_um(channel, x, y) / pixel_um;
            if (!soft)
                share = share > 0.5 ? 1.0 : 0.0;
            share = fmin(fmax(share, 0.0), 1.0);
            picture.grey[(size_t)j * (size_t)size[0] + (size_t)i] = (uint16_t)lround(65535 * share);
        }
    return picture;
}

void drawn_write_pgm(const nrw_picture *picture, const char *path)
{
    FILE *file = fopen(path, "wb");
    cr_assert_not_null(file);
    (void)fprintf(file, "P5\n%d %d\n255\n", picture->width, picture->height);
    for (int j = picture->height - 1; j >= 0; j--)
        for (int i = 0; i < picture->width; i++)
            (void)fputc(picture->grey[(size_t)j * (size_t)picture->width + (size_t)i] / 257, file);
    cr_assert_eq(fclose(file), 0);
}

nrw_scenario *drawn_scenario(const char *yaml, const char *folder)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/drawn.yaml", folder);
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_scenario *scenario = NULL;
    nrw_status status = nrw_scenario_parse(yaml, strlen(yaml), path, &scenario, &errors);
    cr_assert_eq(status, NRW_OK, "%s: %s", errors.n_items ? errors.items[0].key : "",
                 errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return scenario;
}

nrw_channel *drawn_channel_of(const nrw_scenario *scenario)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_channel *channel = NULL;
    nrw_status status = nrw_channel_create(scenario, &channel, &errors);
    cr_assert_eq(status, NRW_OK, "%s: %s", errors.n_items ? errors.items[0].key : "",
                 errors.n_items ? errors.items[0].what : "");
    nrw_errors_clear(&errors);
    return channel;
}

char *drawn_yaml(const char *channel, const char *rest)
{
    static const char form[] =
        "format: narrows-scenario/1\n"
        "fluid: {medium: water, temperature_C: 25}\n"
        "particles:\n"
        "  count: 60\n"
        "  diameter_um: 3.0\n"
        "  density_kg_m3: 1800\n"
        "  magnetics: {kind: induced, susceptibility: 0.3, relaxation_time_s: 1.03e-5}\n"
        "channel:\n"
        "  depth_um: 60\n"
        "%s"
        "%s"
        "deadline_s: 60\n";
    size_t size = sizeof form + strlen(channel) + strlen(rest);
    char *text = malloc(size);
    cr_assert_not_null(text);
    (void)snprintf(text, size, form, channel, rest);
    return text;
}
