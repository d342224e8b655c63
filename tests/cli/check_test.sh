# narrows check: figures, errors of files, results folders.
. "$(dirname "$0")/claims.sh"

# A gate whose figures follow by hand: 100 permanent spheres of 2 um, a custom
# fluid, a throat 10 um wide between two ponds of 200 um.
cat >gate.yaml <<'END'
format: narrows-scenario/1
title: A gate to reckon with
fluid: {medium: custom, viscosity_mPa_s: 2.0, density_kg_m3: 1000, temperature_C: 26.85}
particles:
  count: 100
  diameter_um: 2.0
  density_kg_m3: 2000
  magnetics: {kind: permanent, moment_fAm2: 5}
channel:
  depth_um: 50
  nodes: {z: {at_um: [-100, 0]}, a: {at_um: [0, 0]}, b: {at_um: [300, 0]}, c: {at_um: [500, 0]},
          d: {at_um: [800, 0]}, e: {at_um: [900, 0]}}
  vessels:
    - {from: z, to: a, width_um: 200}
    - {from: a, to: b, width_um: 200}
    - {from: b, to: c, width_um: [[0, 200], [0.4, 10], [0.6, 10], [1, 200]]}
    - {from: c, to: d, width_um: 200}
    - {from: d, to: e, width_um: 200}
release: {node: a, radius_um: 30}
target: {node: d, radius_um: 60}
deadline_s: 100
rig:
  field_max_mT: 8
  frequency_max_Hz: 20
  sample_rate_Hz: 10000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 1, current_max_A: 8, voltage_max_V: 60}
END
cat >schedule.yaml <<'END'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, tilt_deg: 30, field_mT: 6, frequency_Hz: 10, heading: 90}
    until: {elapsed_s: 5}
  - name: go
    drive: {mode: steady, field_mT: 5, elevation_deg: 30, heading: d,
            alternate: {share: 0.25, period_s: 2, drive: {mode: rotating, tilt_deg: 90, frequency_Hz: 8}}}
    timeout_s: 20
END

narrows check gate.yaml --json
pi=3.14159265358979323846
claim "check of a good file exits 0" exits 0
claim "check of a good file complains about nothing" no_complaint
claim "the result names format and command" \
    figure '.format == "narrows-result/1" and .command == "check" and (.warnings | type) == "array"'
claim "provenance carries the file's digest" \
    figure ".provenance.scenario_sha256 == \"$(sha256sum gate.yaml | cut -d' ' -f1)\""
# Closed forms, so only rounding is allowed: Stokes-Einstein; weight over drag;
# m B over 2 pi 8 pi eta a^3; 0.05 m^2/(d^3 kT); d sqrt(N/0.8).
claim "diffusion is kT/(6 pi eta a)" \
    near .figures.diffusion_um2_s "1.380649e-5 * 300 / (6 * $pi * 2e-3 * 1)" 1e-9
claim "settling is the buoyant weight over the drag" \
    near .figures.settling_um_s "1000 * 9.80665e-6 * (4 * $pi / 3) / (6 * $pi * 2e-3)" 1e-9
claim "step-out is where field and drag balance" \
    near .figures.step_out_Hz "5 * 8 / (2 * $pi * 8 * $pi * 2e-3)" 1e-9
claim "thermal coupling is 0.05 m^2/(d^3 kT)" \
    near .figures.thermal_coupling "0.05 * 25 / (8 * 1.380649e-5 * 300)" 1e-9
claim "the gathered diameter is d sqrt(N/0.8)" \
    near .figures.gathered_diameter_um "2 * (100 / 0.8 | sqrt)" 1e-9
# The channel is held on a grid: a tenth of a micrometre in these widths.
claim "the narrowest width is the throat's" near .figures.narrowest_um 10 0.01
claim "the route goes straight from release to target" near .figures.route_length_um 800 1e-3
claim "a throat narrower than the gathered swarm asks for reshaping" \
    figure '.figures.must_reshape == true and (.figures.throats | length) == 1'
# Narrower than 22.36 um: 40 um at 10 um and 80 (22.36 - 10)/190 um at each side.
claim "the throat is as long as it is narrower than the swarm" \
    near '.figures.throats[0].length_um' "40 + 2 * 80 * (2 * (100 / 0.8 | sqrt) - 10) / 190" 0.02
claim "without a schedule there are no legs" figure '.figures | has("legs") | not'

narrows check gate.yaml --schedule schedule.yaml --json
claim "every leg is listed by name" figure '[.figures.legs[].name] == ["gather", "go"]'
# Contract section 3 with h = +y, so p = z x h = -x: cos 6 h; sin 6 (p cos 30 - z sin 30).
claim "a tilted rotation expands by the contract's table" figure \
    '.figures.legs[0].general as $g | $g.frequency_Hz == 10
     and ([$g.cos_mT[0], $g.cos_mT[1] - 6, $g.cos_mT[2],
           $g.sin_mT[0] + 6 * (0.75 | sqrt), $g.sin_mT[1], $g.sin_mT[2] + 3] | map(fabs) | max) < 1e-12'
claim "both settings of an alternating drive are told" \
    figure '.figures.legs[1].alternate.general.frequency_Hz == 8'
claim "regime numbers are there" figure \
    '.figures.legs[0] | (.mason_number * .cycle_displacement - 1 | fabs) < 1e-12
     and .shedding_number > 0 and .spin_Hz > 0 and .lone_speed_um_s > 0
     and (.recommended_model == "averaged" or .recommended_model == "resolved")'

narrows check gate.yaml --schedule schedule.yaml
claim "the readable result shows the expansion" says "sin_mT: [-5.19615, 0, -3]"
claim "the readable result names the throat" says "throat 1"
claim "no colours reach a file" [ "$(tr -dc '\033' <<<"$out" | wc -c)" = 0 ]
narrows check gate.yaml --quiet
claim "--quiet says nothing" silent

sed 's/field_mT: 6/field_mT: 9/; s/frequency_Hz: 8/frequency_Hz: 30/' schedule.yaml >strong.yaml
narrows check gate.yaml --schedule strong.yaml --json
claim "a schedule beyond the rig exits 1" exits 1
claim "a schedule beyond the rig names each leg at fault" complains gather
claim "a schedule beyond the rig names each limit" complains 20
claim "the result is there all the same, with the reason" \
    figure '(.figures.legs | length) == 2 and (.warnings | length) >= 2'

sed 's/count: 100/count: -3/; s/deadline_s: 100/deadline: 100/; s/depth_um: 50/depth_um: deep/' \
    gate.yaml >bad.yaml
narrows check bad.yaml --json
claim "a bad file exits 2" exits 2
claim "a bad file leaves stdout empty" silent
claim "a wrong number is told at its place" complains "bad.yaml:5:10: particles.count: "
claim "a wrong type is told at its place" complains "channel.depth_um: "
claim "a misspelt key gets a suggestion" complains "deadline_s"
claim "each error has a line" [ "$(grep -c '^bad.yaml:' <<<"$err")" -ge 3 ]
claim "no line is anything else" [ "$(grep -vc '^bad.yaml:' <<<"$err")" = 0 ]

sed 's/narrows-scenario\/1/narrows-scenario\/2/' gate.yaml >newer.yaml
narrows check newer.yaml
claim "a newer format exits 2" exits 2
claim "a newer format is told as that" complains newer

narrows check gate.yaml --schedule schedule.yaml --out results --quiet
claim "a results folder is written" [ -f results/result.json ]
claim "the inputs are kept to the byte" cmp -s gate.yaml results/scenario.yaml
claim "the schedule is kept to the byte" cmp -s schedule.yaml results/schedule.yaml
narrows check gate.yaml --out results
claim "a folder that is not empty exits 2" exits 2
narrows check gate.yaml --out results --force --json
claim "--force replaces it" exits 0
claim "the folder's result is the printed one" cmp -s results/result.json .out
claim "what was there before is gone" [ ! -e results/schedule.yaml ]
claim "nothing hidden is left" [ -z "$(find . -name '.results*')" ]

narrows check gate.yaml --out /proc/nowhere
claim "a folder that can't be made exits 3 or 2" [ "$status" -ge 2 ]

claims_end
