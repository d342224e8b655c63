# narrows run: results folders, the same bits for any threads, interruption.
. "$(dirname "$0")/claims.sh"

cat >pond.yaml <<'END'
format: narrows-scenario/1
title: Forty particles in a pond
fluid: {medium: water, temperature_C: 25}
particles:
  count: 40
  diameter_um: 3.0
  diameter_cv: 0.05
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-100, 0]}, a: {at_um: [0, 0]}, b: {at_um: [200, 0]}, c: {at_um: [300, 0]}}
  vessels:
    - {from: z, to: a, width_um: 150}
    - {from: a, to: b, width_um: 150}
    - {from: b, to: c, width_um: 150}
release: {node: a, radius_um: 30}
target: {node: b, radius_um: 40}
deadline_s: 6
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 10000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
END
cat >schedule.yaml <<'END'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 2}
  - name: roll
    drive: {mode: rotating, tilt_deg: 20, field_mT: 10, frequency_Hz: 50, heading: b}
    timeout_s: 2
END

narrows run pond.yaml --schedule schedule.yaml --out one --threads 1 --json
claim "a completed run exits 0, however little arrives" exits 0
claim "the run ends after its last leg" figure '(.figures.time_s - 4 | fabs) < 1e-9'
# Counts over 40, so that the sum is 1 but for rounding.
claim "delivered and lost sum to 1" figure \
    '(.figures | .delivered_fraction + ([.lost[]] | add) - 1 | fabs) < 1e-12'
claim "the contract's figures are all there" figure \
    '.figures as $f | ["delivered_fraction", "lost", "lost_by_place", "time_s",
     "largest_cluster_fraction", "aspect_ratio", "spread_um", "centroid_um", "mean_speed_um_s",
     "mean_spin_Hz", "visible_fraction_of_time", "steps", "pair_interactions"]
     | all(in($f))'
claim "a whole run doesn't call itself partial" figure '.figures | has("partial") | not'
claim "the swarm rolled toward b" figure '.figures.centroid_um[0] > 1'
claim "the spin has the sense of the drive" figure '.figures.mean_spin_Hz > 0'
claim "the folder's result is the printed one" cmp -s one/result.json .out
for file in scenario.yaml schedule.yaml morphology.csv final.csv trajectory.h5 report.html; do
    claim "the folder has $file" [ -s "one/$file" ]
done
claim "final.csv has a header and a row for each particle" [ "$(wc -l <one/final.csv)" = 41 ]
claim "final.csv has the contract's columns" \
    [ "$(head -n 1 one/final.csv | tr -d '\r')" = "id,x_um,y_um,z_um,moment_x,moment_y,moment_z,fate" ]
# Frames at 10 Hz: 0 to 4 s.
claim "morphology.csv has a row for each frame" [ "$(wc -l <one/morphology.csv)" -ge 40 ]

narrows run pond.yaml --schedule schedule.yaml --out two --threads 2 --quiet
same=true
for file in morphology.csv final.csv trajectory.h5; do cmp -s "one/$file" "two/$file" || same=false; done
claim "two threads give the same files as one, to the last byte" $same
claim "two threads give the same figures as one" \
    [ "$(jq -S .figures one/result.json)" = "$(jq -S .figures two/result.json)" ]
narrows run pond.yaml --schedule schedule.yaml --seed 2 --json
claim "another seed gives another run" \
    [ "$(jq .figures.centroid_um <<<"$out")" != "$(jq .figures.centroid_um one/result.json)" ]
narrows run pond.yaml --schedule schedule.yaml --model resolved --json
claim "the model asked for is used" \
    figure '[.figures.legs[].model] | all(. == "resolved")'

narrows run pond.yaml --schedule schedule.yaml
claim "the readable result says what arrived" says "Delivered:"
claim "the readable result lists the legs" says "roll"
claim "nothing but progress is told aside" only_progress

sed 's/field_mT: 10/field_mT: 20/' schedule.yaml >strong.yaml
narrows run pond.yaml --schedule strong.yaml --json
claim "a schedule beyond the rig exits 1" exits 1
claim "its figures have no value, and the reason is told" \
    figure '.figures.delivered_fraction == null and (.warnings | length) > 0'

narrows run pond.yaml
claim "a missing --schedule exits 2" exits 2
narrows run pond.yaml --schedule none.yaml
claim "a missing schedule file exits 2" exits 2
claim "a missing schedule file is named" complains none.yaml

# An hour of 400 particles takes minutes: it is interrupted for certain.
sed 's/count: 40/count: 400/; s/diameter_um: 3.0/diameter_um: 2.0/; s/deadline_s: 6/deadline_s: 3600/' pond.yaml >long.yaml
sed 's/timeout_s: 2/timeout_s: 3500/' schedule.yaml >long_schedule.yaml
stopped INT 'listens && sleep 1' run long.yaml --schedule long_schedule.yaml \
    --out partial --json
claim "an interrupted run exits 130" exits 130
claim "an interrupted run says how far it got" complains "interrupted at"
claim "its folder says that it is partial" jq -e .figures.partial partial/result.json >.jq
claim "its folder holds what was done" [ -s partial/final.csv ]
cp pond.yaml scenario.yaml
narrows run pond.yaml --schedule schedule.yaml --out partial --resume --quiet
claim "--resume goes on in a partial folder" exits 0
claim "a resumed run gives the files of one that was not interrupted" \
    cmp -s one/trajectory.h5 partial/trajectory.h5
narrows run pond.yaml --schedule schedule.yaml --out partial --resume --quiet
claim "--resume leaves a whole folder alone" exits 2

claims_end
