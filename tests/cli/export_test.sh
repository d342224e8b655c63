# narrows export: files for the bench, refusals, allowances, folders as input.
. "$(dirname "$0")/claims.sh"

cat >pond.yaml <<'YAML'
format: narrows-scenario/1
title: A few particles in a pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 5
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel: {open: true, nodes: {a: {at_um: [0, 0]}, b: {at_um: [100, 0]}}}
release: {node: a, radius_um: 10}
target: {node: b, radius_um: 20}
deadline_s: 6
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 5000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
YAML
cat >flat.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 2}
YAML
cat >fed.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 1}
  - name: swing
    drive: {mode: oscillating, field_mT: 8, frequency_Hz: 20, heading: b}
    until: {centroid_within: {node: b, distance_um: 5}}
    timeout_s: 1
YAML
sed 's/field_mT: 10/field_mT: 14/' flat.yaml >strong.yaml
sed 's/frequency_Hz: 50/frequency_Hz: 50, tilt_deg: 30/' flat.yaml >tilted.yaml

narrows export pond.yaml --schedule flat.yaml --out flat --json
claim "a schedule within the rig is exported" exits 0
claim "samples stand at both ends" figure '.figures.samples == 10001'
claim "the duration is the schedule's" figure '(.figures.duration_s - 2 | fabs) < 1e-9'
claim "the peak current is field over mT per A" figure \
    '(.figures.peak_current_A.x - 5 | fabs) < 1e-3'
# cos over whole cycles, but for two fades of some milliseconds in 2 s
claim "the rms current is the peak over the root of 2" figure \
    '(.figures.rms_current_A.x - 5 / (2 | sqrt) | fabs) < 0.02'
claim "a missing axis has no value" figure '.figures.peak_current_A | has("z") and .z == null'
claim "every limit has the contract's keys" figure \
    '.figures.limits | length > 5 and all(has("limit") and has("value") and has("allowed")
     and has("ok") and has("source"))'
claim "the rig's limits hold" figure \
    '[.figures.limits[] | select(.kind == "rig")] | length == 6 and all(.ok)'
for file in currents.csv currents.npy segments.csv segments.npy steps.json waveform.json \
    bench-card.html report.html SHA256SUMS result.json scenario.yaml schedule.yaml; do
    claim "the folder has $file" [ -s "flat/$file" ]
done
claim "currents.csv has the contract's columns" [ "$(head -1 flat/currents.csv | tr -d '\r')" = \
    "time_s,leg,x_mT,y_mT,z_mT,x_A,y_A,z_A,x_V,y_V,z_V" ]
claim "it begins without current" [ "$(sed -n 2p flat/currents.csv | cut -d, -f1-7)" = \
    "0,gather,0,0,0,0,0" ]
claim "and ends without" [ "$(tail -1 flat/currents.csv | cut -d, -f1-7)" = \
    "2,gather,0,0,0,0,0" ]
claim "the checksums hold" sh -c 'cd flat && sha256sum -c --quiet SHA256SUMS'
claim "no figure is called safe" [ -z "$(grep -iE 'safe|harmless' flat/bench-card.html flat/result.json)" ]

narrows export flat --out again --json
claim "a results folder is input, too" exits 0
claim "and gives the same currents" cmp -s flat/currents.csv again/currents.csv
# A calibration goes along into the folder, so that the folder stays input.
mkdir tables
printf 'coil,x_mT_per_A,y_mT_per_A,z_mT_per_A\nx,2.2,0,0\ny,0,1.9,0\n' >tables/measured.csv
sed 's|^rig:|&\n  calibration: tables/measured.csv|' pond.yaml >measured.yaml
narrows export measured.yaml --schedule flat.yaml --out measured --quiet
claim "a rig's calibration is followed" [ -s measured/currents.csv ]
claim "and kept in the folder" cmp -s tables/measured.csv measured/measured.csv
mv tables elsewhere
narrows export measured --out again --force --quiet
claim "which is input by itself" cmp -s measured/currents.csv again/currents.csv

narrows export flat --schedule flat.yaml
claim "but not beside a schedule" exits 2

narrows export pond.yaml --schedule fed.yaml --out fed --json
claim "legs that follow imaging take times from a run" figure '.figures.times_from == "run"'
claim "and say so" figure '.warnings | any(contains("steps.json"))'
claim "the step table keeps the condition" \
    [ "$(jq -r '.steps[1].until.centroid_within.node' fed/steps.json)" = b ]
narrows export pond.yaml --schedule fed.yaml --out fed2 --threads 1 --json
claim "the same bits for any threads" cmp -s fed/currents.csv fed2/currents.csv

# The fixed-time variant without imaging: the same as playing the file.
claim "what the samples deliver alone is told" figure \
    '.figures.playback | .trials == 16 and .failed == 0 and .low <= .high'
claim "the card has the times of the run" grep -q '0 to 1 s</td>' fed/bench-card.html
claim "and stands on the bench card" grep -q "can't steer" fed/bench-card.html
claim "legs by the clock need no such figure" [ "$(jq .figures.playback flat/result.json)" = null ]
sed 's/at_um: \[100, 0\]/at_um: [20, 0]/; s/radius_um: 20/radius_um: 19/' pond.yaml >near.yaml
echo 'uncertainty: {moment_cv: 0.3}' >>near.yaml
narrows export near.yaml --schedule fed.yaml --out near --trials 6 --seed 4 --json
played=$(jq -c '.figures.playback | [.delivered_fraction, .low, .high]' near/result.json)
cat >play.yaml <<'YAML'
format: narrows-schedule/1
legs:
  - {name: play, drive: {mode: sampled, file: near/currents.csv}}
YAML
narrows estimate near.yaml --schedule play.yaml --trials 6 --seed 4 --json
claim "the playback is the estimate of the samples" figure \
    "[.figures.delivered_fraction, .figures.delivered_low, .figures.delivered_high] == $played"
claim "of which some arrive and some do not" figure \
    '.figures.delivered_fraction > 0 and .figures.delivered_fraction < 1'

narrows export pond.yaml --schedule strong.yaml --out strong --json
claim "a field beyond the rig is refused" exits 1
claim "the reason is told" says "field_max_mT of 12"
claim "the result says which limit" figure \
    '.figures.limits | any(.limit == "field" and (.ok | not) and .value > 13.9)'
claim "no currents are written" [ ! -e strong/currents.csv ]
narrows export pond.yaml --schedule strong.yaml --allow field --json
claim "unless allowed by name" exits 0
claim "which is recorded" figure '.figures.allowed_by_name == ["field"]'
narrows export pond.yaml --schedule flat.yaml --allow everything
claim "an unknown name is wrong usage" exits 2

narrows export pond.yaml --schedule tilted.yaml --json
claim "a drive that needs z is refused on a flat rig" exits 1
claim "with the axis named" says "no z axis"

sed '/^rig:/,$d' pond.yaml >bare.yaml
narrows export bare.yaml --schedule flat.yaml
claim "without coils there is nothing to compute" exits 2

cat >levels.yaml <<'YAML'
format: narrows-limits/1
limits:
  - {name: house, law: field_level, who: our visitors, where: at the door, source: house rules,
     action: close the door, field_mT: 1}
YAML
narrows export pond.yaml --schedule flat.yaml --limits levels.yaml --json
claim "levels of one's own replace the list" figure \
    '[.figures.limits[] | select(.kind == "inform") | .limit] == ["house"]'
claim "an exceeded one warns and does not refuse" figure '.warnings | any(contains("our visitors"))'
narrows export pond.yaml --schedule flat.yaml --rate 90
claim "too few samples a cycle are an input error" exits 2

claims_end
