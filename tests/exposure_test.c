#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "exposure.h"

Test(limits, embedded_text_is_the_file_in_docs)
{
    FILE *file = fopen("docs/limits.yaml", "rb");
    cr_assert_not_null(file, "run from the top folder");
    char *embedded = nrw_limits_default_text();
    char read[20000];
    const size_t size = fread(read, 1, sizeof read, file);
    fclose(file);
    cr_assert_eq(size, strlen(embedded));
    cr_assert_eq(memcmp(read, embedded, size), 0);
    free(embedded);
}

static nrw_status parse(const char *text, nrw_limits *limits, char *first_error, size_t size)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    const nrw_status status = nrw_limits_parse(text, strlen(text), "l.yaml", limits, &errors);
    first_error[0] = '\0';
    if (errors.n_items)
        nrw_error_format(&errors.items[0], first_error, size);
    nrw_errors_clear(&errors);
    return status;
}

#define HEAD "format: narrows-limits/1\nlimits:\n"
#define TEXTS "who: w, where: p, source: s, action: a"

Test(limits, file_of_ones_own_replaces_the_list)
{
    nrw_limits limits;
    char error[1500];
    cr_assert_eq(parse(HEAD "  - {name: ours, law: static_level, " TEXTS ", static_mT: 3}\n",
                       &limits, error, sizeof error),
                 NRW_OK, "%s", error);
    cr_assert_eq(limits.n_items, 1);
    cr_assert_float_eq(limits.items[0].level, 3.0, 0.0);
    cr_assert_str_eq(limits.items[0].action, "a");
    nrw_limits_clear(&limits);
}

Test(limits, mistakes_are_told_with_their_place)
{
    nrw_limits limits;
    char error[1500];
    const struct {
        const char *text, *expected;
    } cases[] = {
        {HEAD "  - {name: n, law: static_lvl, " TEXTS ", static_mT: 3}\n",
         "limits[0].law: is 'static_lvl'; did you mean 'static_level'?"},
        {HEAD "  - {name: n, law: static_level, " TEXTS "}\n", "static_mT"},
        {HEAD "  - {name: n, law: static_level, " TEXTS ", static_mT: -1}\n", "out of range"},
        {HEAD "  - {name: n, law: reference_level, " TEXTS
              ", rms_mT: [[1, 8, 4, 0], [7, 9, 1, 0]]}\n",
         "overlaps"},
        {HEAD "  - {name: n, law: static_level, " TEXTS ", static_mT: 3}\n"
              "  - {name: n, law: static_level, " TEXTS ", static_mT: 4}\n",
         "again"},
        {"format: narrows-limits/2\nlimits: []\n", "newer"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        cr_assert_eq(parse(cases[i].text, &limits, error, sizeof error), NRW_BAD_INPUT);
        cr_assert_not_null(strstr(error, cases[i].expected), "case %zu: %s", i, error);
        cr_assert_eq(limits.n_items, 0);
    }
}

Test(limits, nothing_is_said_outside_the_pieces)
{
    const nrw_limit limit = {.pieces = {{1, 8, 40, -2}}, .n_pieces = 1};
    cr_assert(isinf(nrw_limit_reference_mT(&limit, 0.5)));
    cr_assert(isinf(nrw_limit_reference_mT(&limit, 8.0)));
    cr_assert_float_eq(nrw_limit_reference_mT(&limit, 2.0), 10.0, 1e-12);
}

Test(exposure, spectrum_finds_two_frequencies_and_the_mean)
{
    enum { N = 2000 };
    static double samples[3 * N];
    for (int i = 0; i < N; i++) {
        const double t = i / 1000.0; /* 2 s */
        samples[3 * i] = 1.0 + 4.0 * cos(2 * NRW_PI * 50 * t);
        samples[3 * i + 1] = 4.0 * sin(2 * NRW_PI * 50 * t) + 2.0 * sin(2 * NRW_PI * 12.5 * t);
        samples[3 * i + 2] = -2.0;
    }
    nrw_exposure_component found[8];
    size_t n = 0;
    double mean = 0.0;
    cr_assert_eq(nrw_exposure_spectrum(samples, N, 1000.0, 1e-3, found, 8, &n, &mean, NULL),
                 NRW_OK);
    cr_assert_eq(n, 2);
    /* rounding of the transform */
    cr_assert_float_eq(found[0].frequency_Hz, 12.5, 1e-12);
    cr_assert_float_eq(found[0].rms_mT, 2.0 / sqrt(2.0), 1e-12);
    cr_assert_float_eq(found[1].frequency_Hz, 50.0, 1e-12);
    cr_assert_float_eq(found[1].rms_mT, 4.0, 1e-12, "turning: its size, not that over √2");
    cr_assert_float_eq(mean, sqrt(5.0), 1e-12);
}

Test(exposure, sum_over_frequencies_exceeds_where_none_does_alone)
{
    const nrw_limit limit = {
        .law = NRW_LIMIT_REFERENCE_LEVEL, .pieces = {{1, 1000, 1, 0}}, .n_pieces = 1};
    const nrw_exposure_component both[] = {{20, 0.6}, {80, 0.6}};
    nrw_exposure_case exposure = {.components = both, .n_components = 2};
    nrw_limit_check check = nrw_exposure_check(&limit, &exposure);
    cr_assert_float_eq(check.value, 1.2, 1e-12);
    cr_assert_not(check.ok);
    exposure.n_components = 1;
    cr_assert(nrw_exposure_check(&limit, &exposure).ok);
}

Test(exposure, sentence_names_who_where_value_source_and_action_and_soothes_nobody)
{
    nrw_limits limits;
    cr_assert_eq(nrw_limits_default(&limits, NULL), NRW_OK);
    const nrw_exposure_component component = {50.0, 10.0};
    const nrw_exposure_case exposure = {.components = &component,
                                        .n_components = 1,
                                        .static_mT = 0.1,
                                        .peak_mT = 10.0,
                                        .rate_T_s = 3.0,
                                        .stimulus_ms = 6.0,
                                        .product_A_m_s = 4e5,
                                        .energy_J = NAN,
                                        .peak_V = 20,
                                        .coil_C = NAN,
                                        .sample_rise_K = 0.001};
    for (size_t i = 0; i < limits.n_items; i++) {
        const nrw_limit_check check = nrw_exposure_check(&limits.items[i], &exposure);
        char text[1200];
        nrw_limit_check_sentence(&check, text, sizeof text);
        cr_assert_not_null(strstr(text, limits.items[i].who));
        cr_assert_not_null(strstr(text, limits.items[i].source));
        if (!isnan(check.value)) {
            cr_assert_not_null(strstr(text, limits.items[i].where));
            cr_assert_not_null(strstr(text, limits.items[i].action));
        }
        cr_assert_null(strstr(text, "safe"));
        cr_assert_null(strstr(text, "harmless"));
    }
    nrw_limits_clear(&limits);
}
