#include "input_case.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char INPUT_GATE[] =
    "format: narrows-scenario/1\n"
    "title: Gate\n"
    "fluid: {medium: water, temperature_C: 25}\n"
    "particles:\n"
    "  count: 150\n"
    "  diameter_um: 3.0\n"
    "  density_kg_m3: 1800\n"
    "  magnetics: {kind: induced, susceptibility: 0.3}\n"
    "channel:\n"
    "  depth_um: 60\n"
    "  nodes:\n"
    "    inlet: {at_um: [-200, 0]}\n"
    "    mouth: {at_um: [400, 0]}\n"
    "    end: {at_um: [900, 0]}\n"
    "  vessels:\n"
    "    - {from: inlet, to: mouth, width_um: 220}\n"
    "    - {from: mouth, to: end, via_um: [[500, 20]], width_um: [[0, 220], [0.3, 16], [1, 220]]}\n"
    "release: {node: inlet, radius_um: 34}\n"
    "target: {node: end, radius_um: 90}\n"
    "deadline_s: 300\n";

const char INPUT_EXAMPLE_SCENARIO[] =
    "format: narrows-scenario/1\n"
    "title: Example with one throat\n"
    "fluid:\n"
    "  medium: water                  # viscosity and density from temperature; or custom:\n"
    "  temperature_C: 25              #   viscosity_mPa_s: 3.5, density_kg_m3: 1050\n"
    "particles:\n"
    "  count: 150                     # 1 to 10,000,000; or positions_um: [[x, y], ...]\n"
    "  diameter_um: 3.0               # sphere-equivalent\n"
    "  diameter_cv: 0.05              # spread between particles (default 0)\n"
    "  density_kg_m3: 1800\n"
    "  magnetics:\n"
    "    kind: induced                # permanent | induced\n"
    "    susceptibility: 0.30         # SI, of the material\n"
    "    saturation_kA_m: 40          # optional: none\n"
    "    relaxation_time_s: 1.0e-5    # optional: 0\n"
    "  surface: {potential_mV: 50, debye_nm: 10, roughness_nm: 5}\n"
    "  adhesion: {rate_per_s: 0.0, release_pN: 0.5}\n"
    "channel:                         # open: true for no side walls\n"
    "  depth_um: 60                   # height of the ceiling; optional when open\n"
    "  nodes:\n"
    "    inlet:   {at_um: [-200, 0]}\n"
    "    release: {at_um: [0, 0]}\n"
    "    mouth:   {at_um: [400, 0]}\n"
    "    end:     {at_um: [900, 0]}\n"
    "    outlet:  {at_um: [1100, 0]}\n"
    "  vessels:                       # width: one number, or [fraction, width] pairs\n"
    "    - {from: inlet, to: release, width_um: 220}\n"
    "    - {from: release, to: mouth, width_um: 220}\n"
    "    - {from: mouth, to: end, via_um: [[500, 20]], width_um: [[0, 220], [0.3, 16], [0.5, 16], "
    "[0.8, 220]]}\n"
    "    - {from: end, to: outlet, width_um: 220}\n"
    "release: {node: release, radius_um: 34}      # or at_um: [x, y]\n"
    "target:  {node: end, radius_um: 90}          # or at_um\n"
    "route: [release, mouth, end]                 # optional: nodes to pass\n"
    "deadline_s: 300\n"
    "goal: {fraction_min: 0.3, hold_s: 0, keep_visible: false, no_go: []}\n"
    "rig:                             # optional for check and run\n"
    "  field_max_mT: 12\n"
    "  frequency_max_Hz: 100\n"
    "  sample_rate_Hz: 10000\n"
    "  rotation_deg: 0                # coil x against map x\n"
    "  axes:                          # z may be missing: then no drive may need it\n"
    "    x: {mT_per_A: 2.0, resistance_ohm: 3.0, inductance_mH: 10, current_max_A: 8, "
    "voltage_max_V: 60}\n"
    "    y: {mT_per_A: 2.0, resistance_ohm: 3.0, inductance_mH: 10, current_max_A: 8, "
    "voltage_max_V: 60}\n"
    "    z: {mT_per_A: 2.0, resistance_ohm: 3.0, inductance_mH: 10, current_max_A: 8, "
    "voltage_max_V: 60}\n"
    "imaging: {frame_rate_Hz: 10, pixel_um: 1.3, centroid_noise_um: 2, smallest_visible_um2: 400}\n"
    "uncertainty: {moment_cv: 0.1, viscosity_cv: 0.05, rolling_cv: 0.4, pair_flow_cv: 0.3}\n"
    "model:                           # optional; these are the defaults\n"
    "  brownian: true\n"
    "  gravity: true\n"
    "  pair_flow: true\n"
    "  mutual_induction: false\n"
    "  rolling_factor: 1.0            # scales the floor's rolling coupling\n"
    "  pair_flow_factor: 1.0\n"
    "sweep:                           # what a sweep varies; any key of a drive\n"
    "  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n"
    "  vary: {frequency_Hz: [5, 10, 20, 50, 100], tilt_deg: [0, 10, 20, 30, 40, 90]}\n"
    "  seconds: 20\n"
    "  repeats: 3\n";

const char INPUT_EXAMPLE_SCHEDULE[] =
    "format: narrows-schedule/1\n"
    "legs:\n"
    "  - name: gather\n"
    "    drive: {mode: rotating, tilt_deg: 0, field_mT: 10, frequency_Hz: 50}\n"
    "    until: {cluster_above: 0.9}\n"
    "    timeout_s: 60\n"
    "  - name: squeeze\n"
    "    drive: {mode: rotating, tilt_deg: 30, field_mT: 10, frequency_Hz: 50, heading: "
    "centreline, wobble: {deg: 30, period_s: 3}}\n"
    "    until: {tail_past: {node: mouth, beyond_um: 300}}\n"
    "    timeout_s: 120\n"
    "  - name: bring home\n"
    "    drive: {mode: rotating, tilt_deg: 8, field_mT: 10, frequency_Hz: 50, heading: end}\n"
    "    until: {centroid_within: {node: end, distance_um: 30}}\n"
    "    timeout_s: 100\n";

char *input_replace(const char *text, const char *old_text, const char *new_text)
{
    const char *place = strstr(text, old_text);
    cr_assert(place, "'%s' is not in the text", old_text);
    size_t size = strlen(text) + strlen(new_text) + 1;
    char *changed = malloc(size);
    cr_assert(changed);
    (void)snprintf(changed, size, "%.*s%s%s", (int)(place - text), text, new_text,
                   place + strlen(old_text));
    return changed;
}

void input_take_mark(char *text, int *line, int *column)
{
    char *mark = strchr(text, '^');
    *line = *column = 0;
    if (!mark)
        return;
    *line = *column = 1;
    for (const char *c = text; c < mark; c++) {
        if (*c == '\n') {
            ++*line;
            *column = 1;
        } else if (((unsigned char)*c & 0xC0) != 0x80) /* columns are characters */
            ++*column;
    }
    memmove(mark, mark + 1, strlen(mark));
}

static const char *all_of(const nrw_errors *errors)
{
    static char text[8192];
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < errors->n_items && used + 1 < sizeof text; i++) {
        nrw_error_format(&errors->items[i], text + used, sizeof text - used);
        used += strlen(text + used);
        used += (size_t)snprintf(text + used, sizeof text - used, "\n");
    }
    return text;
}

void input_expect(const input_case *expected, const nrw_errors *errors, int line, int column)
{
    const char *name = expected->new_text ? expected->new_text : "";
    cr_assert(errors->n_items == 1, "'%s': one error is expected, not %zu:\n%s", name,
              errors->n_items, all_of(errors));
    const nrw_error *error = &errors->items[0];
    cr_expect(error->status == NRW_BAD_INPUT, "'%s': status %d", name, error->status);
    cr_expect(error->line == line && error->column == column, "'%s': not at %d:%d but\n%s", name,
              line, column, all_of(errors));
    cr_expect(strcmp(error->key, expected->key) == 0, "'%s': not the key '%s':\n%s", name,
              expected->key, all_of(errors));
    cr_expect(strstr(error->what, expected->what), "'%s': doesn't say '%s':\n%s", name,
              expected->what, all_of(errors));
    cr_expect(strstr(error->expected, expected->expected), "'%s': doesn't expect '%s':\n%s", name,
              expected->expected, all_of(errors));
}

nrw_scenario *input_scenario(const char *text)
{
    nrw_errors errors;
    nrw_scenario *scenario;
    nrw_errors_init(&errors);
    nrw_status status = nrw_scenario_parse(text, strlen(text), "good.yaml", &scenario, &errors);
    cr_assert(status == NRW_OK, "not good:\n%s\n%s", all_of(&errors), text);
    cr_assert(scenario && errors.n_items == 0);
    nrw_errors_clear(&errors);
    return scenario;
}

void input_expect_scenario_cases(const char *good, const input_case *cases, size_t n)
{
    nrw_scenario_destroy(input_scenario(good));
    for (size_t i = 0; i < n; i++) {
        char *text = input_replace(good, cases[i].old_text, cases[i].new_text);
        int line, column;
        nrw_errors errors;
        nrw_scenario *scenario;
        input_take_mark(text, &line, &column);
        nrw_errors_init(&errors);
        nrw_status status = nrw_scenario_parse(text, strlen(text), "case.yaml", &scenario, &errors);
        cr_expect(status == NRW_BAD_INPUT && !scenario, "'%s' is taken", cases[i].new_text);
        input_expect(&cases[i], &errors, line, column);
        nrw_scenario_destroy(scenario);
        nrw_errors_clear(&errors);
        free(text);
    }
}
