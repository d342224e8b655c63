# A schedule, exported with the times of one run, and its samples played back.
. "$(dirname "$0")/claims.sh"

cat >pond.yaml <<'YAML'
format: narrows-scenario/1
title: Twenty particles in a pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 20
  diameter_um: 3.0
  diameter_cv: 0.05
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-80, 0]}, a: {at_um: [0, 0]}, b: {at_um: [40, 10]}, c: {at_um: [120, 30]}}
  vessels:
    - {from: z, to: a, width_um: 90}
    - {from: a, to: b, width_um: 90}
    - {from: b, to: c, width_um: 90}
release: {node: a, radius_um: 12}
target: {node: b, radius_um: 14}
deadline_s: 40
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 5000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
imaging: {frame_rate_Hz: 10}
YAML
cat >fed.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 2}
  - name: home
    drive: {mode: rotating, field_mT: 11, frequency_Hz: 60, tilt_deg: 40, heading: b}
    until: {centroid_within: {node: b, distance_um: 4}}
    timeout_s: 36
YAML
mkdir plans
cat >plans/play.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - name: play
    drive: {mode: sampled, file: ../bench/currents.csv}
YAML
sed 's/csv/npy/' plans/play.yaml >plans/currents.yaml

narrows run pond.yaml --schedule fed.yaml --json
claim "the schedule delivers by feedback" figure '.figures.delivered_fraction > 0.8'
fed=$(jq .figures.delivered_fraction <<<"$out")
took=$(jq .figures.time_s <<<"$out")
narrows export pond.yaml --schedule fed.yaml --out bench --json
claim "its fixed-time variant is exported" exits 0

narrows check pond.yaml --schedule plans/play.yaml --json
claim "a schedule of samples is good" exits 0
claim "check tells what is played" figure \
    '.figures.legs[0].samples | .file == "../bench/currents.csv" and .sample_rate_Hz == 5000
     and .samples == (.duration_s * 5000 | round) + 1 and (.peak_mT - 11 | fabs) < 1e-3'
claim "and recommends the resolved model" figure \
    '.figures.legs[0].recommended_model == "resolved"'
narrows check pond.yaml --schedule plans/play.yaml
claim "in words, too" says "no period to average over"

narrows run pond.yaml --schedule plans/play.yaml --out played --json
claim "the samples are played" exits 0
claim "for as long as the run took that they are from" figure \
    "(.figures.time_s - $took | fabs) < 1e-6"
# one particle of 20 more or less at the rim of the target
claim "they deliver what the schedule delivered" figure \
    "(.figures.delivered_fraction - $fed | fabs) < 0.0501"
claim "the leg ends with its samples, in the resolved model" figure \
    '.figures.legs | length == 1 and .[0].ended == "timeout" and .[0].model == "resolved"'
narrows run pond.yaml --schedule plans/currents.yaml --json
claim "currents.npy plays the same field" figure "(.figures.delivered_fraction - $fed | fabs) < 0.0501"
narrows run pond.yaml --schedule plans/play.yaml --model averaged
claim "the averaged model is refused" exits 1
claim "with the reason" complains "no period"

claim "the results folder holds the samples" cmp -s bench/currents.csv played/currents.csv
narrows export pond.yaml --schedule plans/play.yaml --out again --json
claim "samples are exported again" exits 0
claim "by the clock" figure '.figures.times_from == "clock"'
claim "as many" figure ".figures.samples == $(($(wc -l <bench/currents.csv) - 1))"
# all but the joins at both ends, whose fades take up to ten samples, within what floats
# keep of 12 mT
claim "and the same ones" sh -c "paste -d, bench/currents.csv again/currents.csv | tr -d '\r' |
    tail -n +12 | head -n -10 | awk -F, '{ for (i = 3; i <= 8; i++) if ((\$i - \$(i + 11)) ^ 2 > 1e-10) exit 1 }'"
claim "the checksums hold" sh -c 'cd again && sha256sum -c --quiet SHA256SUMS'
claim "the step table names the file" \
    [ "$(jq -r '.steps[0].drive.main.samples.file' again/steps.json)" = ../bench/currents.csv ]
claim "and has no loop to play" [ "$(jq '.steps[0].segments.loop.samples' again/steps.json)" = 0 ]
rm -r bench
narrows report played
claim "the folder stands alone" exits 0

# samples beyond the rig, and broken ones
printf 'time_s,x_mT,y_mT,z_mT\n0,0,0,0\n0.001,13,0,0\n0.002,0,0,0\n' >strong.csv
printf 'format: narrows-schedule/1\nlegs:\n- {name: a, drive: {mode: sampled, file: strong.csv}}\n' \
    >strong.yaml
narrows run pond.yaml --schedule strong.yaml
claim "samples beyond the rig are refused" exits 1
claim "the field is told" complains "13 mT peak is above the rig's field_max_mT of 12"
claim "and when the voltage is exceeded" complains "0 s of its samples"
sed -i 3s/13/x/ strong.csv
narrows run pond.yaml --schedule strong.yaml
claim "a broken file is an input error" exits 2
claim "with the place in both files" complains \
    "strong.yaml:3:42: legs[0].drive.file: 'strong.csv' line 3, field 2: x_mT 'x' is no number"

claims_end
