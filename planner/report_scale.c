#include "report_scale.h"

#include <math.h>
#include <stdio.h>

enum { STOPS = 10 };

/* Ten equal steps along each; colours between them are mixed. */
static const unsigned char stops[][STOPS][3] = {[NRW_SCALE_CIVIDIS] = {{0, 34, 78},
                                                                       {18, 53, 112},
                                                                       {59, 73, 108},
                                                                       {87, 93, 109},
                                                                       {112, 113, 115},
                                                                       {138, 134, 120},
                                                                       {165, 156, 116},
                                                                       {195, 179, 105},
                                                                       {225, 204, 85},
                                                                       {254, 232, 56}},
                                                [NRW_SCALE_VIRIDIS] = {{68, 1, 84},
                                                                       {72, 40, 120},
                                                                       {62, 73, 137},
                                                                       {49, 104, 142},
                                                                       {38, 130, 142},
                                                                       {31, 158, 137},
                                                                       {53, 183, 121},
                                                                       {110, 206, 88},
                                                                       {181, 222, 43},
                                                                       {253, 231, 37}}};

void nrw_scale_colour(nrw_scale scale, double share, char colour[8])
{
    double at = fmin(fmax(isnan(share) ? 0 : share, 0), 1) * (STOPS - 1);
    int low = at >= STOPS - 1 ? STOPS - 2 : (int)at;
    double part = at - low;
    unsigned mixed[3];
    for (int c = 0; c < 3; c++)
        mixed[c] =
            (unsigned)lround((1 - part) * stops[scale][low][c] + part * stops[scale][low + 1][c]) &
            0xffU;
    (void)snprintf(colour, 8, "#%02x%02x%02x", mixed[0], mixed[1], mixed[2]);
}

/* From sRGB, 0...255, to linear light. */
static double linear(unsigned value)
{
    double v = value / 255.0;
    return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

bool nrw_scale_is_dark(const char colour[8])
{
    unsigned r = 0, g = 0, b = 0;
    if (sscanf(colour, "#%2x%2x%2x", &r, &g, &b) != 3)
        return false;
    double luminance = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
    /* contrast with white, 1.05/(L + 0.05), against that with black, (L + 0.05)/0.05 */
    return 1.05 / (luminance + 0.05) > (luminance + 0.05) / 0.05;
}
