/* A small table of materials: defaults to start from, each with its source.
 *
 * Real powders and colloids differ; a scenario states its own figures. */
#ifndef NRW_MATERIAL_H
#define NRW_MATERIAL_H

#include <stddef.h>

/* NAN where a figure has no meaning for the material or no source is at hand. */
typedef struct nrw_material {
    const char *name;
    double density_kg_m3;
    double saturation_kA_m; /* saturation magnetisation at room temperature; for hematite
                               the weak permanent magnetisation */
    double viscosity_Pa_s;  /* liquids, at temperature_C */
    double temperature_C;   /* of these figures */
    const char *source;
} nrw_material;

/* The table, static: (n_materials). */
const nrw_material *nrw_materials(size_t *n_materials);

/* The material of that name, or NULL. */
const nrw_material *nrw_material_find(const char *name);

#endif
