/* Water and materials against values of the world outside (rows MAT-...). */
#include "external_row.h"

#include "fluid.h"
#include "material.h"
#include "particle.h"

/* IAPWS R12-08, Table 4. */
Test(external_materials, water_viscosity_iapws)
{
    assert_row("MAT-01a", 1e6 * nrw_water_viscosity_iapws_Pa_s(298.15, 998), 889.7351001, 1e-8);
    assert_row("MAT-01b", 1e6 * nrw_water_viscosity_iapws_Pa_s(298.15, 1200), 1437.649467, 1e-8);
    assert_row("MAT-01d", 1e6 * nrw_water_viscosity_iapws_Pa_s(433.15, 1000), 217.6853583, 1e-8);
}

/* Huber et al. 2009 (coefficients from memory; gives 1.0016 mPa·s at 20 °C). */
Test(external_materials, water_viscosity_at_atmospheric_pressure)
{
    assert_row("MAT-02a", nrw_water_viscosity_Pa_s(283.15), 0.001305901728, 1e-6);
    assert_row("MAT-02b", nrw_water_viscosity_Pa_s(293.15), 0.001001567265, 1e-6);
    assert_row("MAT-02d", nrw_water_viscosity_Pa_s(310.15), 0.0006913034204, 1e-6);
}

/* Tanaka et al. 2001 (coefficients from memory; 998.2067 at 20 °C). */
Test(external_materials, water_density)
{
    assert_row_near("MAT-03a", nrw_water_density_kg_m3(20), 998.2067456, 1e-3);
    assert_row_near("MAT-03b", nrw_water_density_kg_m3(25), 997.0470217, 1e-3);
}

typedef enum figure { DENSITY, SATURATION, VISCOSITY } figure;

/* Sources beside the values in sim/material.c; MAT-10 is common practice. */
Test(external_materials, table)
{
    static const struct {
        const char *id, *name;
        figure which;
        double low, high; /* the row's value with its tolerance */
    } rows[] = {
        {"MAT-04", "blood plasma", VISCOSITY, 1.1e-3, 1.3e-3},
        {"MAT-05", "whole blood", VISCOSITY, 3e-3, 4e-3},
        {"MAT-06", "magnetite", DENSITY, 5140, 5200},
        {"MAT-08", "maghemite", DENSITY, 4850, 4950},
        {"MAT-09", "polystyrene", DENSITY, 1040, 1060},
        {"MAT-10", "silica", DENSITY, 1900, 2200},
        {"MAT-12", "maghemite", SATURATION, 350, 420},
        {"MAT-13", "hematite", SATURATION, 1.5, 2.6},
        {"MAT-14", "iron", SATURATION, 1690, 1730},
        {"MAT-16", "cobalt", SATURATION, 1390, 1450},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const nrw_material *material = nrw_material_find(rows[i].name);
        cr_assert_not_null(material, "%s: %s", rows[i].id, rows[i].name);
        double value = rows[i].which == DENSITY      ? material->density_kg_m3
                       : rows[i].which == SATURATION ? material->saturation_kA_m
                                                     : material->viscosity_Pa_s;
        cr_assert(value >= rows[i].low && value <= rows[i].high, "%s: %g", rows[i].id, value);
    }
}

/* Identity m = M V; M from the table, 0.75 µm radius. */
Test(external_materials, moment_of_a_hematite_sphere)
{
    double m = nrw_material_find("hematite")->saturation_kA_m * nrw_sphere_volume_um3(1.5);
    assert_row("MAT-17", 1e-15 * m, 3.887720909e-15, PRINTED);
}

Test(external_materials, every_material_names_its_source)
{
    size_t n;
    const nrw_material *materials = nrw_materials(&n);
    for (size_t i = 0; i < n; i++) {
        cr_assert_gt(strlen(materials[i].source), 5);
        cr_assert_eq(nrw_material_find(materials[i].name), &materials[i]);
    }
    cr_assert_null(nrw_material_find("cheese"));
}
