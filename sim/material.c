#include "material.h"

#include <math.h>
#include <string.h>

static const nrw_material materials[] = {
    {"blood plasma", 1025, NAN, 1.2e-3, 37,
     "viscosity 1.10-1.30 mPa·s: Kesmarky et al. 2008, Clin. Hemorheol. Microcirc. 39:243; "
     "density: handbook"},
    {"whole blood", 1060, NAN, 3.5e-3, 37,
     "viscosity at high shear 3-4 mPa·s, density: handbook; shear-thinning is not modelled"},
    {"magnetite", 5170, 480, NAN, 20,
     "density: CRC Handbook; saturation 446-480 kA/m: Dunlop & Özdemir 1997"},
    {"maghemite", 4900, 400, NAN, 20,
     "density 4870-4900, saturation 350-420 kA/m: Cornell & Schwertmann 2003"},
    {"hematite", 5260, 2.2, NAN, 20,
     "density: Cornell & Schwertmann 2003; weak ferromagnetism about 2-2.5 kA/m: Morin 1950, "
     "Dunlop & Özdemir 1997"},
    {"iron", 7874, 1710, NAN, 20, "CRC Handbook"},
    {"cobalt", 8900, 1420, NAN, 20, "CRC Handbook"},
    {"nickel", 8908, 490, NAN, 20, "CRC Handbook"},
    {"polystyrene", 1050, NAN, NAN, 20, "handbook (1040-1060)"},
    {"silica", 2000, NAN, NAN, 20, "common practice for colloidal silica (1900-2200)"},
};

const nrw_material *nrw_materials(size_t *n_materials)
{
    *n_materials = sizeof materials / sizeof materials[0];
    return materials;
}

const nrw_material *nrw_material_find(const char *name)
{
    for (size_t i = 0; i < sizeof materials / sizeof materials[0]; i++)
        if (strcmp(materials[i].name, name) == 0)
            return &materials[i];
    return NULL;
}
