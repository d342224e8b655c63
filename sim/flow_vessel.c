#include "flow_vessel.h"

#include <math.h>
#include <string.h>

static const nrw_vessel_preset PRESETS[] = {
    {"terminal arteriole", {NAN, NAN, NAN}, {5.0, 1.0, 10.0}},
    {"capillary", {8.0, 5.0, 10.0}, {0.5, 0.3, 1.0}},
    {"venule", {20.0, 10.0, 200.0}, {NAN, NAN, NAN}},
};

const nrw_vessel_preset *nrw_vessel_presets(size_t *n)
{
    *n = sizeof PRESETS / sizeof *PRESETS;
    return PRESETS;
}

const nrw_vessel_preset *nrw_vessel_preset_of(const char *name)
{
    for (size_t i = 0; i < sizeof PRESETS / sizeof *PRESETS; i++)
        if (strcmp(PRESETS[i].name, name) == 0)
            return &PRESETS[i];
    return NULL;
}

double nrw_murray_radius(double parent, double branch)
{
    double rest = pow(parent, 3.0) - pow(branch, 3.0);
    return rest >= 0.0 ? cbrt(rest) : NAN;
}

double nrw_murray_angle_rad(double parent, double branch, double other)
{
    double square = parent * parent * branch * branch;
    double cosine = (pow(parent, 4.0) + pow(branch, 4.0) - pow(other, 4.0)) / (2.0 * square);
    return acos(cosine);
}
