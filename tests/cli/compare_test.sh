# narrows compare: the same trials, paired differences, ties, fresh trials for a winner.
. "$(dirname "$0")/claims.sh"

cat >gate.yaml <<'END'
format: narrows-scenario/1
title: Twelve particles and a short gate
fluid: {medium: water, temperature_C: 25}
particles:
  count: 12
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [30, 0]}, c: {at_um: [100, 0]}}
  vessels:
    - {from: z, to: a, width_um: 60}
    - {from: a, to: b, width_um: [[0, 60], [0.4, 11], [0.5, 11], [0.9, 60]]}
    - {from: b, to: c, width_um: 60}
release: {node: a, radius_um: 12}
target: {node: b, radius_um: 14}
deadline_s: 12
uncertainty: {moment_cv: 0.1, rolling_cv: 0.4}
END
schedule() { # TILT
    printf 'format: narrows-schedule/1\nlegs:\n  - name: roll\n    drive: {mode: rotating, tilt_deg: %s, field_mT: 10, frequency_Hz: 80, heading: b}\n    timeout_s: 8\n' "$1"
}
schedule 70 >upright.yaml
schedule 70 >copy.yaml
schedule 1 >flat.yaml

narrows compare gate.yaml --schedule upright.yaml --schedule flat.yaml --schedule copy.yaml \
    --strategy keep-gathered --strategy all-chains --trials 10 --out whole --threads 1 --json
claim "a completed comparison exits 0" exits 0
claim "nothing but progress is told aside" only_progress
claim "schedules are named by their files, strategies by themselves" figure \
    '[.figures.strategies[].name] == ["upright", "flat", "copy", "keep-gathered", "all-chains"]'
claim "each has the figures of an estimate" figure \
    '.figures.strategies | all(.trials == 10 and has("delivered_low") and has("lost") and has("time_to_target_s"))'
claim "every pair is there" figure '.figures.pairs | length == 10'
claim "two copies of one schedule differ by exactly nothing" figure \
    '.figures.pairs[] | select(.a == "upright" and .b == "copy")
     | .difference == 0 and .low == 0 and .high == 0 and .p == 1'
claim "a difference is the difference of the means" figure \
    '.figures as $f | $f.pairs[0] | (.difference - ($f.strategies[0].delivered_fraction
     - $f.strategies[1].delivered_fraction) | fabs) < 1e-12'
claim "upright is surely better than flat" figure '.figures.pairs[0].low > 0'
claim "trials.csv has the strategy first" [ "$(head -n 1 whole/trials.csv | cut -d, -f1-3)" = strategy,trial,seed ]
claim "trials.csv has a row for each run" [ "$(wc -l <whole/trials.csv)" = 51 ]
claim "all run on the same trials" \
    [ "$(grep ^upright whole/trials.csv | cut -d, -f2,3,11-14)" = "$(grep ^all-chains whole/trials.csv | cut -d, -f2,3,11-14)" ]
claim "the schedules that ran are in the folder" \
    test -s whole/schedule-keep-gathered.yaml -a -s whole/schedule-flat.yaml
narrows run gate.yaml --schedule whole/schedule-all-chains.yaml --trial 4 --json
claim "a strategy's trial can be redone from the folder" figure \
    ".figures.delivered_fraction == $(grep '^all-chains,4,' whole/trials.csv | cut -d, -f4)"

narrows compare gate.yaml --schedule upright.yaml --schedule flat.yaml --schedule copy.yaml \
    --strategy keep-gathered --strategy all-chains --trials 10 --out two --threads 2 --quiet
claim "two threads give the same trials as one, to the last byte" cmp -s whole/trials.csv two/trials.csv
claim "two threads give the same figures as one" \
    [ "$(jq -S .figures whole/result.json)" = "$(jq -S .figures two/result.json)" ]

stopped INT 'listens && sleep 1' compare gate.yaml --schedule upright.yaml \
    --schedule flat.yaml --schedule copy.yaml --strategy keep-gathered --strategy all-chains \
    --trials 100000 --out cut --json
claim "an interrupted comparison exits 130" exits 130
claim "its folder says that it is partial" jq -e .figures.partial cut/result.json >.jq
narrows compare gate.yaml --schedule upright.yaml --schedule flat.yaml --schedule copy.yaml \
    --strategy keep-gathered --strategy all-chains --trials 10 --out cut --resume --quiet
claim "--resume goes on" exits 0
claim "a resumed comparison gives the same files" \
    cmp -s whole/trials.csv cut/trials.csv
claim "and figures" \
    [ "$(jq -S .figures whole/result.json)" = "$(jq -S .figures cut/result.json)" ]
claim "and no more files" [ "$(ls whole)" = "$(ls cut)" ]

narrows compare gate.yaml --schedule upright.yaml --schedule flat.yaml --trials 10 --json
claim "a clear winner is best" figure '.figures.best == "upright"'
claim "it was measured again on as many fresh trials" figure \
    '.figures.recheck | .leader.name == "upright" and .leader.trials == 10 and .low > 0'
claim "the verdict tells the fresh figures" figure '.figures.verdict | contains("on fresh trials")'
sed 's/tilt_deg: 70/tilt_deg: 71/' upright.yaml >near.yaml
# of four trials of two that are next to alike, chance makes a leader for some seed
for seed in $(seq 60); do
    narrows compare gate.yaml --schedule upright.yaml --schedule near.yaml --trials 4 --json \
        --seed "$seed"
    ! figure '.figures.recheck != null and .figures.best == null' || break
done
claim "a leader by chance is no best, but is measured again too" \
    figure '.figures.best == null and .figures.recheck.leader.trials == 4'
narrows compare gate.yaml --schedule upright.yaml --schedule copy.yaml --trials 4 --json
claim "copies are a tie that needs no second look" \
    figure '.figures | .best == null and .recheck == null and (.verdict | startswith("A tie:"))'
narrows compare gate.yaml --schedule upright.yaml --schedule copy.yaml --trials 3
claim "the readable result calls copies a tie" says "A tie: all deliver"

narrows compare gate.yaml --schedule upright.yaml
claim "one alone is wrong usage" exits 2
narrows compare gate.yaml --strategy keep-gatherd --strategy all-chains
claim "an unknown strategy is wrong usage" exits 2
claim "and gets a suggestion" complains "did you mean 'keep-gathered'?"
narrows compare gate.yaml --schedule upright.yaml --schedule missing.yaml
claim "a missing schedule exits 2" exits 2

claims_end
