/* Exposure figures against values of the world outside. The row's id stands
 * beside each check; values have ten printed digits at most. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "exposure.h"

#define PRINTED 1e-9

static void assert_row(const char *id, double got, double value, double relative)
{
    cr_assert_float_eq(got, value, relative * fabs(value), "%s: %.12g against %.12g", id, got,
                       value);
}

static nrw_limits limits;

static void load(void)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    cr_assert_eq(nrw_limits_default(&limits, &errors), NRW_OK);
    nrw_errors_clear(&errors);
}

static void unload(void)
{
    nrw_limits_clear(&limits);
}

TestSuite(external_exposure, .init = load, .fini = unload);

static const nrw_limit *limit_named(const char *name)
{
    for (size_t i = 0; i < limits.n_items; i++)
        if (strcmp(limits.items[i].name, name) == 0)
            return &limits.items[i];
    cr_assert_fail("no limit %s", name);
    return NULL;
}

static double reference_T(const char *name, double frequency_Hz)
{
    return nrw_limit_reference_mT(limit_named(name), frequency_Hz) * 1e-3;
}

/* Atkinson, Brezovich and Chakraborty 1984, IEEE Trans. Biomed. Eng. 31:70; the
 * product 4.85e8 A/(m s) from memory. */
Test(external_exposure, product_of_field_and_frequency)
{
    const double product = limit_named("heating-product")->level;
    assert_row("EXP-01", nrw_exposure_product_Hz(product, 10.0), 60946.89748, PRINTED);
    assert_row("EXP-02", nrw_exposure_product_A_m_s(10.0, 100.0), 795774.7155, PRINTED);
}

/* ICNIRP 2010, Health Phys. 99:818, Tables 3 and 4 (seen in reprints). */
Test(external_exposure, reference_levels_by_frequency)
{
    const struct {
        const char *id, *limit;
        double frequency_Hz, level_T;
    } rows[] = {
        {"EXP-04-5-occ", "occupational-alternating", 5, 0.008},
        {"EXP-04-5-pub", "public-alternating", 5, 0.0016},
        {"EXP-04-10-occ", "occupational-alternating", 10, 0.0025},
        {"EXP-04-25-occ", "occupational-alternating", 25, 0.001},
        {"EXP-04-25-pub", "public-alternating", 25, 0.0002},
        {"EXP-04-50-occ", "occupational-alternating", 50, 0.001},
        {"EXP-04-100-occ", "occupational-alternating", 100, 0.001},
        {"EXP-04-100-pub", "public-alternating", 100, 0.0002},
        {"EXP-04-300-occ", "occupational-alternating", 300, 0.001},
        {"EXP-04-350-occ", "occupational-alternating", 350, 0.0008571428571},
        {"EXP-04-350-pub", "public-alternating", 350, 0.0002},
        {"EXP-04-1000-occ", "occupational-alternating", 1000, 0.0003},
        {"EXP-04-5000-occ", "occupational-alternating", 5000, 0.0001},
        {"EXP-04-5000-pub", "public-alternating", 5000, 2.7e-05},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_row(rows[i].id, reference_T(rows[i].limit, rows[i].frequency_Hz), rows[i].level_T,
                   PRINTED);
}

/* Identity: 5 mT peak is 3.54 mT rms, the level at 10 Hz is 2.5 mT. */
Test(external_exposure, index_takes_the_rms_and_not_the_peak)
{
    const nrw_field field = {.cos = {5, 0, 0}, .frequency_Hz = 10};
    const nrw_exposure_component component = {10.0, nrw_exposure_rms_mT(&field)};
    assert_row("EXP-05", nrw_exposure_index(limit_named("occupational-alternating"), &component, 1),
               1.414213562, PRINTED);
}

/* Form of IEC 60601-2-33:2010, L = k·rb·(1 + 0.36 ms/ts); 20 T/s and 0.36 ms from
 * memory (reviews: Bourland et al. 1999, Schaefer et al. 2000). */
Test(external_exposure, nerve_stimulation_law)
{
    const nrw_limit *first = limit_named("nerve-stimulation-first-level");
    assert_row("EXP-07-0.1", nrw_limit_rate_T_s(first, 0.1), 92, PRINTED);
    assert_row("EXP-07-0.36", nrw_limit_rate_T_s(first, 0.36), 40, PRINTED);
    assert_row("EXP-07-1", nrw_limit_rate_T_s(first, 1.0), 27.2, PRINTED);
    assert_row("EXP-08", nrw_limit_rate_T_s(limit_named("nerve-stimulation-normal"), 1.0), 21.76,
               PRINTED);
}

/* Identities; the duration as IEC 60601-2-33 defines it (from memory). */
Test(external_exposure, rate_and_duration_of_a_sine)
{
    const nrw_field sine = {.cos = {10, 0, 0}, .frequency_Hz = 100};
    assert_row("EXP-09", nrw_exposure_rate_T_s(&sine), 6.283185307, PRINTED);
    assert_row("EXP-10", nrw_exposure_stimulus_ms(100.0) * 1e-3, 0.003183098862, PRINTED);
}

/* Faraday, uniform disc. */
Test(external_exposure, induced_field_and_eddy_heat_of_a_disc)
{
    assert_row("EXP-12", nrw_exposure_induced_V_m(0.15, 2 * NRW_PI), 0.471238898, PRINTED);
    assert_row("EXP-14", nrw_exposure_eddy_W_m3(0.5, 100.0, 10.0, 0.1), 0.024674011, PRINTED);
}

/* Identity: a field that turns changes at the same rate all the time, and its
 * rms is B, not B/√2. */
Test(external_exposure, rotating_field)
{
    nrw_drive_setting setting = nrw_drive_setting_defaults();
    setting.field_mT = 10.0;
    setting.frequency_Hz = 10.0;
    const nrw_field field = nrw_drive_field(&setting, 0.3, 25.0);
    assert_row("EXP-13", nrw_exposure_rate_T_s(&field), 0.6283185307, PRINTED);
    assert_row("EXP-13 rms", nrw_exposure_rms_mT(&field), 10.0, 1e-12);
}
