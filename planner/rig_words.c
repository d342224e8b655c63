#include "rig_words.h"

#include <math.h>
#include <string.h>

#include "rig_curve.h"
#include "signs.h"

#define CURVE_POINTS 24
#define OFFSET_MM 1.0

/* --- figures ------------------------------------------------------------------------ */

static void add_curve(nrw_result *result, const nrw_rig *rig)
{
    nrw_rig_curve_point points[CURVE_POINTS];
    const size_t n = nrw_rig_curve(rig, points, CURVE_POINTS);
    nrw_result_open_array(result, "curve");
    for (size_t i = 0; i < n; i++) {
        nrw_result_open_object(result, NULL);
        nrw_result_number(result, "frequency_Hz", points[i].frequency_Hz);
        nrw_result_number(result, "flat_mT", points[i].flat_mT);
        nrw_result_string(result, "flat_limit", points[i].flat_limit);
        nrw_result_number(result, "rolling_mT", points[i].rolling_mT);
        nrw_result_string(result, "rolling_limit", points[i].rolling_limit);
        nrw_result_close(result);
    }
    nrw_result_close(result);
}

static void add_corners(nrw_result *result, const nrw_rig_model *model)
{
    nrw_result_open_object(result, "corner_Hz");
    for (int k = 0; k < model->n_coils; k++)
        nrw_result_number(result, model->names[k],
                          nrw_rig_corner_Hz(model->resistance_ohm[k], model->inductance_H[k][k]));
    nrw_result_close(result);
}

static void add_off_centre(nrw_result *result, const nrw_scenario *scenario)
{
    nrw_rig_uniformity off;
    if (!nrw_rig_uniformity_at(scenario, OFFSET_MM, &off)) {
        nrw_result_null(result, "off_centre");
        return;
    }
    nrw_result_open_object(result, "off_centre");
    nrw_result_number(result, "offset_mm", off.offset_mm);
    nrw_result_number(result, "field_error", off.field_error);
    nrw_result_number(result, "gradient_mT_mm", off.gradient_mT_mm);
    nrw_result_number(result, "drift_um_s", off.drift_um_s);
    nrw_result_number(result, "usable_mm", off.usable_mm);
    nrw_result_close(result);
}

void nrw_rig_add_figures(nrw_result *result, const nrw_scenario *scenario)
{
    nrw_rig_model model;
    if (nrw_rig_model_init(&model, &scenario->rig, NULL) != NRW_OK || !model.present) {
        nrw_result_null(result, "rig");
        return;
    }
    nrw_result_open_object(result, "rig");
    add_curve(result, &scenario->rig);
    add_corners(result, &model);
    add_off_centre(result, scenario);
    nrw_result_close(result);
}

nrw_status nrw_signs_add_figures(nrw_result *result, const nrw_scenario *scenario,
                                 nrw_errors *errors)
{
    nrw_sign_check checks[NRW_SIGNS_MAX];
    size_t n;
    const nrw_status status = nrw_signs_list(scenario, checks, &n, errors);
    nrw_result_open_array(result, "signs");
    for (size_t i = 0; i < n; i++) {
        nrw_result_open_object(result, NULL);
        nrw_result_string(result, "what", checks[i].what);
        nrw_result_string(result, "how", checks[i].how);
        nrw_result_string(result, "expect", checks[i].expect);
        nrw_result_string(result, "otherwise", checks[i].otherwise);
        nrw_result_close(result);
    }
    nrw_result_close(result);
    return status;
}

/* --- in words ------------------------------------------------------------------------ */

void nrw_rig_describe(const nrw_scenario *scenario, FILE *stream)
{
    nrw_rig_curve_point points[CURVE_POINTS];
    const size_t n = nrw_rig_curve(&scenario->rig, points, CURVE_POINTS);
    if (n == 0)
        return;
    (void)fprintf(stream,
                  "\nRig: largest rotating field, any heading\n  %9s %10s  %-16s %10s  %s\n", "Hz",
                  "flat mT", "limited by", "rolling mT", "limited by");
    for (size_t i = 0; i < n; i++)
        (void)fprintf(stream, "  %9.4g %10.4g  %-16s %10.4g  %s\n", points[i].frequency_Hz,
                      points[i].flat_mT, points[i].flat_limit, points[i].rolling_mT,
                      points[i].rolling_limit);
    nrw_rig_uniformity off;
    if (nrw_rig_uniformity_at(scenario, OFFSET_MM, &off))
        (void)fprintf(stream,
                      "  Off the coils' middle by %.3g mm the field errs by up to %.2g %%, and its "
                      "gradient moves a\n  particle by up to %.2g um/s at %.4g mT; the error stays "
                      "below 1 %% within %.3g mm.\n",
                      off.offset_mm, 100.0 * off.field_error, off.drift_um_s,
                      scenario->rig.field_max_mT, off.usable_mm);
}

/* A paragraph behind a label, broken at blanks before column 92. */
static void put_paragraph(FILE *stream, const char *label, const char *text)
{
    enum { LEFT = 17, WIDTH = 75 };
    (void)fprintf(stream, "      %-*s", LEFT - 6, label);
    int column = 0;
    while (*text) {
        const int length = (int)strcspn(text, " ");
        if (column > 0 && column + 1 + length > WIDTH) {
            (void)fprintf(stream, "\n%*s", LEFT, "");
            column = 0;
        }
        (void)fprintf(stream, "%s%.*s", column > 0 ? " " : "", length, text);
        column += length + (column > 0);
        text += length;
        text += *text == ' ';
    }
    (void)fprintf(stream, "\n");
}

void nrw_signs_describe(const nrw_scenario *scenario, FILE *stream)
{
    nrw_sign_check checks[NRW_SIGNS_MAX];
    size_t n;
    if (nrw_signs_list(scenario, checks, &n, NULL) != NRW_OK)
        return;
    (void)fprintf(stream, "\nBefore the first experiment\n");
    for (size_t i = 0; i < n; i++) {
        (void)fprintf(stream, "\n  %2zu. %s\n", i + 1, checks[i].what);
        put_paragraph(stream, "do", checks[i].how);
        put_paragraph(stream, "expect", checks[i].expect);
        put_paragraph(stream, "otherwise", checks[i].otherwise);
    }
}
